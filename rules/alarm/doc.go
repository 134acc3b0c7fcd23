// Package alarm is the alarm state machine and everything an alert says.
//
// A [Definition] is fixed by the configuration: class, priority, delays,
// deadband, who responds. A [Machine] is what one alarm remembers. Stepping it
// with a [Condition] yields transitions; each becomes an [Event], the facts of
// one journal entry. The words come from the [Catalogue] when an event is
// shown or sent, so that a record replays whatever the language.
//
// The states follow the model of ISA-18.2 and IEC 62682; no compliance is
// claimed. On top of the six stand three marks: shelved (a person, limited in
// time), suppressed by design (logic) and out of service (a person, with a
// review date). Under a mark evaluation and journal go on; leaving the last
// mark re-evaluates to normal or unacknowledged, never to acknowledged.
//
// Bad input neither raises nor clears: the state is held and timers freeze.
//
// # Driving it
//
// All alarms of one pump, group or site share a [Memory], in the order of
// their definitions. For each moment: [Clock.Tick] gives the [Moment]; the
// caller sets its Logic and SinceStart; [Memory.Do] carries out commands;
// [Rule.Judge] or the caller's own rules give one [Condition] for each
// definition; [Memory.Step] appends what happened as events. The caller then
// numbers them and fills in the circumstances (running, standby, gas flow,
// last service). [Render] makes the words.
//
// # Words
//
// A text is one row of the [Catalogue]. Actions that open or touch equipment
// come last, and directly before the first of them stands [Safety].
package alarm
