package modbus

import (
	"bytes"
	"testing"
)

// The example of MODBUS Application Protocol V1.1b3, §6.3 (registers 107 to
// 109, function 3) as PDU; the checksum of 01 03 00 6B 00 03 is given by many
// texts as 74 17 (value from memory).
func TestRTUFrameOfTheStandardsExample(t *testing.T) {
	if got := crc16([]byte{0x01, 0x03, 0x00, 0x6B, 0x00, 0x03}); got != 0x1774 {
		t.Errorf("checksum %04x, want 1774, low byte first on the wire", got)
	}
}

// The polynomial's published check value: CRC-16/MODBUS of "123456789" is
// 0x4B37 (catalogue of parametrised CRC algorithms).
func TestChecksumHasItsPublishedCheckValue(t *testing.T) {
	if got := crc16([]byte("123456789")); got != 0x4B37 {
		t.Errorf("checksum %04x, want 4b37", got)
	}
}

// requests are what answers are fuzzed against: their PDUs.
var requests = [][]byte{
	{1, 0, 7, 0, 19}, {2, 0, 0, 7, 208}, {3, 0, 100, 0, 4}, {4, 0, 0, 0, 125}, {43, 14, 1, 0},
}

// receiveLike feeds bytes to a framing as they would come, n at a time, and
// returns the answer it takes from them, nil if none.
func receiveLike(f framing, request, stream []byte, n int) []byte {
	for got := 0; ; got = min(got+n, len(stream)) {
		size, err := f.size(request, stream[:got])
		if err != nil {
			return nil
		}
		if got >= size {
			if f.verify(request, stream[:size]) != nil {
				return nil
			}
			return stream[:size]
		}
		if got == len(stream) {
			return nil
		}
	}
}

func fuzzFraming(f *testing.F, fr framing, wrap func(pdu []byte) []byte) {
	f.Add(byte(2), byte(5), wrap([]byte{3, 8, 0, 1, 0, 2, 0, 3, 0, 4}))
	f.Add(byte(2), byte(1), wrap([]byte{0x83, 2}))
	f.Add(byte(0), byte(3), wrap([]byte{1, 3, 0xCD, 0x6B, 0x05}))
	f.Add(byte(4), byte(9), wrap([]byte{43, 14, 1, 1, 0, 0, 1, 0, 3, 'a', 'b', 'c'}))
	f.Add(byte(4), byte(2), wrap([]byte{43, 14, 1, 1, 0xFF, 9, 200, 0, 255}))
	f.Fuzz(func(t *testing.T, which, n byte, stream []byte) {
		pdu := requests[int(which)%len(requests)]
		checkStream(t, fr, pdu, wrap(pdu), int(n), stream)
		checkStream(t, fr, pdu, wrap(pdu), int(n), wrap(stream)) // in a frame that is in order
	})
}

// checkStream checks what a framing takes for an answer in a stream.
func checkStream(t *testing.T, fr framing, pdu, request []byte, n int, stream []byte) {
	answer := receiveLike(fr, request, stream, 1+n)
	if !bytes.Equal(answer, receiveLike(fr, request, stream, 1)) {
		t.Fatal("the answer depends on how its bytes were parted")
	}
	if answer == nil {
		return
	}
	got := fr.pdu(answer)
	if len(got) < 2 || got[0]&0x7F != pdu[0] || len(answer) > maxFrame {
		t.Fatalf("% x was taken for an answer to % x", answer, request)
	}
	if got[0] == pdu[0] && pdu[0] <= 4 {
		want := Table(pdu[0]).dataBytes(int(pdu[3])<<8 | int(pdu[4]))
		if len(got) != 2+want {
			t.Fatalf("answer has %d data bytes, want %d", len(got)-2, want)
		}
	}
	if got[0] == funcEncapsulated {
		if _, err := parseIdentification(got); err != nil {
			t.Fatalf("an identification that was received does not parse: %v", err)
		}
	}
}

func FuzzTCPFrames(f *testing.F) {
	fuzzFraming(f, tcpFraming{}, func(pdu []byte) []byte {
		return tcpFrame([]byte{0, 1, 0, 0, 0, 0, 1}, pdu)
	})
}

func FuzzRTUFrames(f *testing.F) {
	fuzzFraming(f, rtuFraming{}, func(pdu []byte) []byte { return rtuFrame(1, pdu...) })
}

func FuzzIdentification(f *testing.F) {
	f.Add([]byte{43, 14, 1, 1, 0, 0, 1, 0, 3, 'a', 'b', 'c'})
	f.Add([]byte{43, 14, 1, 1, 0xFF, 2, 2, 0, 0, 1, 1, 'x'})
	f.Fuzz(func(t *testing.T, pdu []byte) {
		part, err := parseIdentification(pdu)
		if err != nil {
			return
		}
		bytes := idHeader
		for _, text := range part.objects {
			bytes += 2 + len(text)
		}
		if bytes > len(pdu) || len(part.objects) > int(pdu[idObjects]) {
			t.Fatalf("%d bytes of objects from a PDU of %d", bytes, len(pdu))
		}
	})
}
