package modbus

import (
	"encoding/binary"

	gomodbus "github.com/goburrow/modbus"
)

// tcpFraming: transaction identifier, protocol identifier 0, length of the
// rest, unit, PDU (MODBUS Messaging on TCP/IP V1.0b, §3.1.3).
type tcpFraming struct{}

const (
	tcpHeader = 7
	// tcpCounted are the header's bytes before those its length field counts.
	tcpCounted = 6
)

func (tcpFraming) packager(unit byte) gomodbus.Packager {
	h := gomodbus.NewTCPClientHandler("")
	h.SlaveId = unit
	return h
}

func (tcpFraming) pdu(frame []byte) []byte {
	if len(frame) <= tcpHeader {
		return nil
	}
	return frame[tcpHeader:]
}

func (tcpFraming) size(request, got []byte) (int, error) {
	const shortest, longest = 3, maxFrame - tcpCounted
	if len(got) < tcpHeader+2 {
		return tcpHeader + 2, nil
	}
	transaction, protocol, length := binary.BigEndian.Uint16(got), binary.BigEndian.Uint16(got[2:]), int(binary.BigEndian.Uint16(got[4:]))
	switch want := binary.BigEndian.Uint16(request); {
	case transaction != want:
		return 0, faultf(Framing, "answer belongs to transaction %d, want %d", transaction, want)
	case protocol != 0:
		return 0, faultf(Framing, "answer has protocol identifier %d, want 0", protocol)
	case length < shortest || length > longest:
		return 0, faultf(Framing, "answer has length %d, want %d to %d", length, shortest, longest)
	case got[6] != request[6]:
		return 0, faultf(Framing, "answer is from unit %d, want %d", got[6], request[6])
	}
	return tcpCounted + length, nil
}

func (f tcpFraming) verify(request, answer []byte) error {
	pdu := f.pdu(answer)
	n, err := answerSize(f.pdu(request), pdu)
	if err == nil && n != len(pdu) {
		err = faultf(Framing, "answer has a PDU of %d bytes, want %d", len(pdu), n)
	}
	return err
}
