// Package rules is the heart of the agent: what follows for one pump from
// what was read and what people asked.
//
// [Step] takes the checked [Settings], the pump's [State] and one
// [drivers.Batch], and gives the [Change]s: journal entries and closed blocks
// of history. It is a pure function of these: no clock, log, file or network,
// so that a recorded month replays in seconds and every alarm can be
// reproduced. The same batches always give the same changes.
//
// A batch passes the rooms in this order: signals (what was read last, and
// rolling medians), counters, trend, the circumstances of the moment, alarms,
// service life, commands.
package rules
