package simulator

import (
	"encoding/binary"
	"time"
)

// Functions and exceptions of the Modbus application protocol V1.1b3, §6, §7.
const (
	readCoils      = 1
	readDiscretes  = 2
	readHolding    = 3
	readInput      = 4
	encapsulated   = 43
	identification = 14

	illegalFunction = 1
	illegalAddress  = 2
	illegalValue    = 3
	serverFailure   = 4
	gatewayNoAnswer = 11

	exceptionBit = 0x80
	mostWords    = 125
	mostBits     = 2000
	longestPDU   = 253
)

// A responder answers requests with buffers of its own; one per connection.
type responder struct {
	pdu   [longestPDU]byte
	words [mostBits]uint16
}

// answer is the response PDU to a request PDU; it is valid until the next
// call. Only reading is answered: everything else is an illegal function.
func (r *responder) answer(u Unit, at time.Duration, request []byte) []byte {
	if len(request) == 0 {
		return nil
	}
	if code := u.Manner(at).Refuse; code != 0 {
		return r.refuse(request[0], code)
	}
	switch f := request[0]; f {
	case readCoils, readDiscretes:
		return r.bits(u, at, request, [...]Table{readCoils: Coil, readDiscretes: Discrete}[f])
	case readHolding, readInput:
		return r.registers(u, at, request, [...]Table{readHolding: Holding, readInput: Input}[f])
	case encapsulated:
		return r.identify(u, request)
	default:
		return r.refuse(f, illegalFunction)
	}
}

func (r *responder) refuse(function, code byte) []byte {
	r.pdu[0], r.pdu[1] = function|exceptionBit, code
	return r.pdu[:2]
}

// wanted reads first address and count of a request for at most most values.
func (r *responder) wanted(u Unit, at time.Duration, request []byte, table Table, most uint16) (n uint16, code byte) {
	if len(request) != 5 {
		return 0, illegalValue
	}
	first := binary.BigEndian.Uint16(request[1:])
	n = binary.BigEndian.Uint16(request[3:])
	switch {
	case n == 0 || n > most:
		return 0, illegalValue
	case !u.Read(at, table, first, r.words[:n]):
		return 0, illegalAddress
	}
	return n, 0
}

func (r *responder) registers(u Unit, at time.Duration, request []byte, table Table) []byte {
	n, code := r.wanted(u, at, request, table, mostWords)
	if code != 0 {
		return r.refuse(request[0], code)
	}
	r.pdu[0], r.pdu[1] = request[0], byte(2*n)
	for i := range n {
		binary.BigEndian.PutUint16(r.pdu[2+2*i:], r.words[i])
	}
	return r.pdu[:2+2*n]
}

func (r *responder) bits(u Unit, at time.Duration, request []byte, table Table) []byte {
	n, code := r.wanted(u, at, request, table, mostBits)
	if code != 0 {
		return r.refuse(request[0], code)
	}
	size := (n + 7) / 8
	r.pdu[0], r.pdu[1] = request[0], byte(size)
	out := r.pdu[2 : 2+size]
	clear(out)
	for i := range n {
		if r.words[i] != 0 {
			out[i/8] |= 1 << (i % 8) // the first bit asked is the lowest of the first byte
		}
	}
	return r.pdu[:2+size]
}

// identify answers function 43/14 (§6.21): the basic objects 0, 1, 2 as a
// stream from the asked one on (code 1), or one of them (code 4).
func (r *responder) identify(u Unit, request []byte) []byte {
	if len(request) != 4 || request[1] != identification {
		return r.refuse(encapsulated, illegalFunction)
	}
	code, first := request[2], request[3]
	last := byte(2)
	switch {
	case code == 4 && first > last:
		return r.refuse(encapsulated, illegalAddress)
	case code == 4:
		last = first
	case code < 1 || code > 3:
		return r.refuse(encapsulated, illegalValue)
	case first > last:
		first = 0 // an unknown object restarts the stream
	}
	const conformity = 0x81 // basic, stream and individual
	out := append(r.pdu[:0], encapsulated, identification, code, conformity, 0, 0, last-first+1)
	for object := first; object <= last; object++ {
		text := u.Identification(object)
		text = text[:min(len(text), 70)]
		out = append(out, object, byte(len(text)))
		out = append(out, text...)
	}
	return out
}
