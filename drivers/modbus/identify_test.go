package modbus

import (
	"errors"
	"io"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// idPDU is an answer to 43/14; objects are id and text in turn.
func idPDU(more, next byte, objects ...string) []byte {
	pdu := []byte{43, 14, 1, 0x81, more, next, byte(len(objects) / 2)}
	for i := 0; i < len(objects); i += 2 {
		pdu = append(pdu, objects[i][0], byte(len(objects[i+1])))
		pdu = append(pdu, objects[i+1]...)
	}
	return pdu
}

// identifying is a device that tells of itself in two parts.
func identifying(pdu []byte) []byte {
	if pdu[0] != 43 || pdu[1] != 14 {
		return []byte{pdu[0] | 0x80, 1}
	}
	if pdu[3] == 0 {
		return idPDU(0xFF, 2, "\x00", "Vendor of the test", "\x01", "TRIPLEX-1")
	}
	return idPDU(0, 0, "\x02", "V1.2")
}

// readIdentifyRTU reads a request of 43/14, a byte shorter than a read's.
func readIdentifyRTU(r io.Reader) ([]byte, error) {
	frame := make([]byte, 7)
	_, err := io.ReadFull(r, frame)
	return frame, err
}

func TestIdentifyFollowsMoreParts(t *testing.T) {
	t.Parallel()
	for name, s := range map[string]Settings{
		"tcp": quick(TCP, serveTCP(t, readTCP, func(_ int, request []byte) []chunk {
			return whole(tcpFrame(request, identifying(request[7:])))
		})),
		"rtu over tcp": quick(RTUOverTCP, serveTCP(t, readIdentifyRTU, func(_ int, request []byte) []chunk {
			f := rtuFrame(request[0], identifying(request[1:])...)
			return []chunk{{bytes: f[:9]}, {after: ms, bytes: f[9:10]}, {after: ms, bytes: f[10:]}}
		})),
	} {
		t.Run(name, func(t *testing.T) {
			got, err := openBus(t, s).Identify(t.Context(), 7, Basic, 0)
			if err != nil {
				t.Fatal(err)
			}
			want := Identification{VendorName: "Vendor of the test", ProductCode: "TRIPLEX-1", Revision: "V1.2"}
			if diff := cmp.Diff(want, got); diff != "" {
				t.Errorf("identification (-want +got):\n%s", diff)
			}
			if diff := cmp.Diff([]byte{0, 1, 2}, got.IDs()); diff != "" {
				t.Errorf("ids (-want +got):\n%s", diff)
			}
		})
	}
}

func TestIdentifyFailures(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name   string
		answer []byte
		want   string
	}{
		{"refusal", []byte{0xAB, 1}, "unit 7 identification: device refused: illegal function (exception 1)"},
		{"device that goes in circles", idPDU(0xFF, 0, "\x00", "x"), "unit 7 identification: device goes on at object 0 after object 0"},
		{"another type", []byte{43, 13, 0, 0, 0, 0, 0, 0}, "unit 7 identification: answer has type 13, want 14"},
		{"object longer than its answer", []byte{43, 14, 1, 1, 0, 0, 1, 0, 5, 'x'}, "unit 7 identification: answer has a PDU of 10 bytes, want 14"},
		{"object longer than any answer", []byte{43, 14, 1, 1, 0, 0, 1, 0, 250, 'x'}, "unit 7 identification: answer has a PDU of at least 259 bytes, want at most 253"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			b := openBus(t, quick(TCP, serveTCP(t, readTCP, func(_ int, request []byte) []chunk {
				return whole(tcpFrame(request, tt.answer))
			})))
			_, err := b.Identify(t.Context(), 7, Extended, 0)
			if err == nil || err.Error() != tt.want {
				t.Errorf("error\n got %v\nwant %s", err, tt.want)
			}
			if tt.name == "refusal" && !errors.Is(err, IllegalFunction) {
				t.Errorf("error %v is not IllegalFunction", err)
			}
		})
	}
}
