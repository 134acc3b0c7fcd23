// Package report answers what a control room asks every day: what runs, what
// stands and why, whether the glycol is kept moving, what has changed since
// the last shift, what is silenced and by whom, what is due, how the alarms
// themselves do.
//
// [Of] folds snapshots and the journal of a span of time into a [Report]. It is
// pure. What is not known is null in JSON and "not known" in text, never a
// number.
package report
