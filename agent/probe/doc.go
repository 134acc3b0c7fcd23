// Package probe thinks about what a bus answered while a gateway is being
// commissioned: what registers may mean, where a known value stands, what a
// pattern of faults says, which line settings to try.
//
// Everything here is pure. The command probe reads the bus and asks.
//
// A [Cell] is one address with what was read there over some rounds. [Readings]
// shows it in every type and word order, [Expectation.Find] looks for a value
// that somebody reads off a display, [Tally.Words] explains faults, [Draft]
// writes down what was found.
package probe
