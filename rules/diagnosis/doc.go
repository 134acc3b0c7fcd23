// Package diagnosis says what is wrong with a pump, how sure that is, and what
// the signals installed cannot tell.
//
// [Evidence] is how far each indicator has moved from this pump's own
// baseline. A cause predicts, from physics, what it does to every indicator:
// see the table in causes.go. [Model.Rank] weighs the causes by the likelihood
// of all evidence together, sizes and what is not known of the line integrated
// out. "None of these" always stands among them: each indicator is as it was or
// anywhere, as likely as not. No likelihood is fitted to simulated or recorded
// faults. Under every cause, too, an indicator may be one that no model
// describes; see broad.go.
//
// # What a phase can say
//
// A leak of q, as a share of one cylinder's mean flow, takes q/2 of that
// cylinder's flow and adds (2/π)·q at once per turn, at +90° if it leaks in
// the discharge half of its stroke and −90° in the suction half. Pressure is
// flow through the line's impedance. While that is not known at the very
// frequency, only the size of the line counts as evidence, both halves are
// equally likely, and no cylinder is named. A [Survey] measures the impedance
// during a start or a speed ramp, in which the third and sixth orders of known
// flow sweep through it.
//
// One phase names half a stroke of one cylinder, never a part; [Parts] ranks
// what may be behind it.
package diagnosis
