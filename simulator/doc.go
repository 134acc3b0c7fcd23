// Package simulator is a motor-driven triplex diaphragm pump to test against:
// its physics, its instruments, its faults and its Modbus devices.
//
// A [Skid] is one pump with drive, piping and transmitters. Its time goes
// forward by [Skid.Advance], as fast as wanted, or to the instant at which
// somebody reads a register; what it shows at an instant does not depend on
// how often it was looked at. [Truth] is what really happened: what a counter
// of hours and strokes should arrive at. An [Event] is an order, a fault or a
// device that misbehaves; a [Scenario] is a list of them for several skids.
// [Registers] describes every value on the wire. A [Server] puts units on TCP,
// on a serial line, or RTU frames on TCP.
//
// The codec is the package's own, so that a mistake shared with the agent's
// library cannot hide.
//
// Signs and zeros: pressures are gauge; the shaft angle is 0 where cylinder 1
// (index 0) starts its discharge stroke; cylinder j follows by j thirds of a
// turn.
package simulator
