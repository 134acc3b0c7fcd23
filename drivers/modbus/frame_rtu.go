package modbus

import (
	"bytes"
	"encoding/binary"

	gomodbus "github.com/goburrow/modbus"
)

// rtuFraming: unit, PDU, checksum with the low byte first
// (MODBUS over Serial Line V1.02, §2.5.1).
type rtuFraming struct{}

func (rtuFraming) packager(unit byte) gomodbus.Packager {
	h := gomodbus.NewRTUClientHandler("")
	h.SlaveId = unit
	return h
}

func (rtuFraming) pdu(frame []byte) []byte {
	if len(frame) < 4 {
		return nil
	}
	return frame[1 : len(frame)-2]
}

func (f rtuFraming) size(request, got []byte) (int, error) {
	const wrap, shortest = 3, 5
	if len(got) < shortest {
		return shortest, nil
	}
	if got[0] != request[0] {
		return 0, faultf(Framing, "answer is from unit %d, want %d", got[0], request[0])
	}
	n, err := answerSize(f.pdu(request), got[1:])
	if err != nil && bytes.HasPrefix(request, got[:min(len(got), len(request))]) {
		err = faultf(Framing, "the request itself came back; switch off the echo of the adapter")
	}
	return n + wrap, err
}

func (rtuFraming) verify(_, answer []byte) error {
	body := answer[:len(answer)-2]
	if sent := binary.LittleEndian.Uint16(answer[len(body):]); sent != crc16(body) {
		return faultf(Checksum, "answer has checksum %04x, its bytes give %04x", sent, crc16(body))
	}
	return nil
}

// whole reports whether frame is a complete RTU frame from unit.
func (f rtuFraming) whole(unit byte, frame []byte) bool {
	return len(frame) >= 5 && frame[0] == unit && f.verify(nil, frame) == nil
}

// crc16 is the checksum of MODBUS over Serial Line V1.02, §6.2.2: polynomial
// 0xA001 (x¹⁶+x¹⁵+x²+1 reflected), start 0xFFFF.
func crc16(p []byte) uint16 {
	crc := uint16(0xFFFF)
	for _, b := range p {
		crc ^= uint16(b)
		for range 8 {
			low := crc & 1
			crc = crc>>1 ^ 0xA001*low
		}
	}
	return crc
}
