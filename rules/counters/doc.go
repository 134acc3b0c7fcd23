// Package counters counts what a pump has done: run time, revolutions,
// strokes, starts, pumped volume, energy, and the time nobody saw.
//
// [Step] advances a [State] by one batch. It reads no clock: time is what the
// batches say, measured by the time since boot, so a wall clock may jump as it
// likes. The readings of one instant are counted together, when the first
// batch of a later instant arrives; so it does not matter how they were split
// over batches, nor how many empty beats lie between.
//
// # Running
//
// The drive's word (status and speed, or a contactor) is judged beside a
// second witness where one exists: motor power, ripple of the discharge
// pressure, flow, index pulses. A witness that is bad or stale is no witness.
// While they disagree, time is held back: if they agree again within a minute
// it is credited as the drive said; if not, it becomes unobserved, and so does
// everything until they agree. Nothing is ever taken back out of run time.
//
// Time counts only between two good readings no further apart than MaxGap,
// and counts as the earlier of the two said. Starts lose what stops gain.
//
// # Gaps
//
// A longer gap is unobserved. The drive's hour meter closes it: the meter's
// true value minus our own count of the drive's run time is a constant,
// known as an interval that every reading narrows. What that interval proves
// to have been run inside the gap is credited, the rest stays unobserved with
// its upper bound. A tick of the meter that is seen narrows the interval to
// one polling beat, so that a meter of whole hours usually closes a gap to
// some seconds, once it has ticked on both sides of it.
//
// A meter that ticks while the drive is seen stopped counts power-on hours;
// until it has been seen to stand still it may, so it closes nothing unless
// the settings say what it is.
//
// Across a reboot the length of a gap is the difference of the wall clocks if
// both were synchronised. The second may become so later in the same boot:
// the gap is then dated after the fact. Otherwise it has no upper bound.
package counters
