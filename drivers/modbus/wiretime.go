package modbus

import "time"

// Bytes of a request frame, and of an answer frame without its data: unit,
// function, count and checksum (MODBUS over Serial Line V1.02, §2.5.1).
const (
	requestBytes = 8
	answerFrame  = 5
)

// characters returns how long n characters take: start bit, 8 data bits,
// parity if any, stop bits. 11 bits for the standard's 8E1 and 8N2, 10 for 8N1.
func (l Line) characters(n int) time.Duration {
	if l.Baud == 0 {
		return 0
	}
	bits := 1 + 8 + l.StopBits
	if l.Parity != NoParity {
		bits++
	}
	return time.Duration(n*bits) * time.Second / time.Duration(l.Baud)
}

// Gap returns t3.5, the silence that parts two frames: 3.5 characters of 11
// bits up to 19200 baud, 1.75 ms above (MODBUS over Serial Line V1.02, §2.5.1.1).
func (l Line) Gap() time.Duration {
	switch {
	case l.Baud == 0:
		return 0
	case l.Baud > 19200:
		return 1750 * time.Microsecond
	}
	return 38500 * time.Millisecond / time.Duration(l.Baud)
}

// WireTime returns the least time that one transaction keeps the bus busy:
//
//	T = (8 + 5 + data bytes) · character + 2 · t3.5 + turnaround
//
// On Modbus TCP, and on a serial server whose line is not described, it is the
// turnaround alone.
func (s *Settings) WireTime(t Table, count int) time.Duration {
	turnaround := orElse(s.Turnaround, s.usualTurnaround())
	if s.Kind == TCP {
		return turnaround
	}
	return s.Line.characters(requestBytes+answerFrame+t.dataBytes(count)) + 2*s.Line.Gap() + turnaround
}
