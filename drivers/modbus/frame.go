package modbus

import (
	"encoding/binary"

	gomodbus "github.com/goburrow/modbus"
)

// A framing knows how a PDU is wrapped on one kind of wire. It is pure.
type framing interface {
	// packager returns goburrow's encoder and decoder for one unit.
	packager(unit byte) gomodbus.Packager

	// pdu returns the PDU inside a request frame, nil if there is none.
	pdu(frame []byte) []byte

	// size returns how many bytes the answer to request has, as far as the
	// bytes got so far tell: the answer is whole once it has that many. An
	// error means that got cannot be the beginning of an answer.
	size(request, got []byte) (int, error)

	// verify checks what only a whole answer shows.
	verify(request, answer []byte) error
}

// maxFrame is the longest frame: 260 bytes on TCP, 256 on a serial line.
const maxFrame = 260

const exceptionFlag = 0x80 // set in the function code of an exception answer

// answerSize returns how many bytes the answer PDU has, as far as got tells.
func answerSize(request, got []byte) (int, error) {
	const shortest = 2 // function and exception code
	if len(got) < shortest {
		return shortest, nil
	}
	switch function := request[0]; got[0] {
	case function | exceptionFlag:
		return shortest, nil
	case function:
	default:
		return 0, faultf(Framing, "answer has function %d, want %d", got[0], function)
	}
	if request[0] == funcEncapsulated {
		return identificationSize(got)
	}
	want := Table(request[0]).dataBytes(int(binary.BigEndian.Uint16(request[3:])))
	if int(got[1]) != want {
		return 0, faultf(Framing, "answer has %d data bytes, want %d", got[1], want)
	}
	return shortest + want, nil
}
