// Package modbus reads the registers of the devices on one bus.
//
// Settings say where a [Bus] is, a [Request] asks one unit for consecutive
// registers, an [Answer] has the words and the two instants between which the
// device looked at them. [Plan] finds the fewest requests, [Schedule] their
// order in time, [Settings.WireTime] and [LoadOf] what they cost the line.
//
// The wire is Modbus TCP, RTU on a serial line, or RTU framing inside a TCP
// connection as serial servers speak it. Packagers and PDU code are those of
// github.com/goburrow/modbus; the transport beneath them is our own.
//
// # What a Bus promises
//
// Nothing is written to a device. Of all function codes only 1 to 4 (read)
// and 43/14 (device identification) can leave; the check stands at the one
// place that writes to the wire.
//
// A Read gives the asked registers of the asked unit or an error, for every
// answer that comes late by up to the late limit:
//   - an answer must match the request in transaction and protocol identifier
//     (TCP) or checksum (RTU), in unit, function, byte count and length;
//   - after a timeout or a broken frame a TCP connection is closed and dialled
//     again, so that nothing late can arrive on the new one;
//   - a serial line has no connections. After a fault, and when it is opened,
//     nothing is sent until the line was silent for the late limit. That is 1 s
//     (Settings.LateLimit) until a unit has given 100 answers, then four times
//     the slowest of them, at least 200 ms, and never less than the slowest
//     answer seen, late ones included. A serial server is dialled again and
//     then treated as a serial line, because it may keep an old answer.
//
// A Read ends at its deadline, dial included, and at once when its context
// ends. A unit that does not answer is asked less and less often (60 s apart
// at most) so that it does not starve its neighbours; one good answer ends
// that. A device path that vanished (a pulled adapter) is opened again when it
// is back, by the same kind of back-off.
//
// # What it cannot promise
//
// An RTU answer carries neither the address asked for nor a number. One that
// comes later than the late limit, from the same unit, with the same function
// and as many bytes as are wanted next, cannot be told from the right answer.
// A Schedule therefore makes consecutive requests differ where it can, and
// late_limit should be raised for a device known to be slower.
//
// A gateway from Modbus TCP to a serial line may itself mistake a late answer
// behind our back. Two masters on one line break every promise here.
//
// Modbus has no authentication: whoever can reach the wire can lie.
//
// # Who owns what
//
// A Bus belongs to one goroutine and starts none. Its methods must not be
// called concurrently; [Bus.Facts] returns a copy to hand to others.
package modbus
