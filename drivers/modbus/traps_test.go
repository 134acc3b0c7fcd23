package modbus

// What goburrow/modbus v0.1.0 and goburrow/serial v0.1.0 do to those who use
// them bare. The numbers stand in the names of the tests; where a test has a
// faulty device, it shows both that goburrow's own handler fails on it and
// that a Bus does not.
//
//	T1   TCP: one late answer shifts the stream; every read after it fails
//	T2   TCP: once the peer has closed, every write is a broken pipe
//	T3   the idle timer that closes connections rescues neither
//	T4   a well-formed answer that is too short is returned without an error
//	T5   no context; Close waits behind a transaction that hangs
//	T6   TCP: the dial has a timeout of its own, so a read takes up to two
//	T7   RTU: a late answer is returned as the answer to the next request
//	T8   RTU: the last byte of an exception stays for the next read
//	T9   RTU: the idle timer closes the port beside a reader, without a lock
//	T10  serial: the timeout begins anew with every chunk
//	T11  serial: a pulled adapter reads as nothing, for ever, in a busy loop
//	T12  RTU: sleeps for the estimated time of the frames before it reads
//	T13  RTU: a stray byte before or behind an answer costs the frame
//	T14  the unit is a field of the handler, shared by all who use it
//	T15  serial: defaults of 19200 baud, even parity, one stop bit
//	T16  serial: partial writes pass for whole ones; ports are not locked
//	T17  serial: writes to the standard logger
