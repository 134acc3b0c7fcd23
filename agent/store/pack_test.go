package store

import (
	"bytes"
	"testing"

	"github.com/google/go-cmp/cmp"
)

func TestPackedCountersComeBack(t *testing.T) {
	r := counterRow{Save: 7, At: noon, Of: map[string][]byte{"pump-1": {1, 2}, "": {}, "pümp": bytes.Repeat([]byte{9}, 700)}}
	packed := r.pack([]byte("before"))[len("before"):]
	if len(packed) != 1024 {
		t.Errorf("%d bytes, want a multiple of %d that fits", len(packed), packRound)
	}
	back, err := unpackCounters(packed)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(r, back); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
}

func TestATornCountersRowIsNotBelieved(t *testing.T) {
	good := counterRow{Save: 7, At: noon, Of: map[string][]byte{"pump-1": bytes.Repeat([]byte{1}, 600)}}.pack(nil)
	flip := func(i int) []byte {
		b := bytes.Clone(good)
		b[i] ^= 1
		return b
	}
	tests := []struct {
		name string
		in   []byte
		want string
	}{
		{"nothing", nil, "counters: not a packed row"},
		{"another file", []byte("site:\n  name: north station, with enough text"), "counters: not a packed row"},
		{"half of it", good[:300], "counters: 288 bytes where 625 were written"},
		{"a bit of the body flipped", flip(100), "counters: checksum does not match"},
		{"a bit of the save number flipped", flip(packHead), "counters: checksum does not match"},
		{"a bit of the checksum flipped", flip(4), "counters: checksum does not match"},
		{"the second half from an older save", append(bytes.Clone(good[:512]), make([]byte, 512)...), "counters: checksum does not match"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if _, err := unpackCounters(tt.in); err == nil || err.Error() != tt.want {
				t.Errorf("error\n got %v\nwant %s", err, tt.want)
			}
		})
	}
}

func FuzzUnpackCounters(f *testing.F) {
	f.Add(counterRow{Save: 1, At: noon, Of: map[string][]byte{"pump-1": []byte("abc"), "": nil}}.pack(nil))
	f.Add([]byte(packMagic))
	f.Fuzz(func(t *testing.T, b []byte) {
		r, err := unpackCounters(b)
		if err != nil {
			return
		}
		back, err := unpackCounters(r.pack(nil))
		if err != nil || !cmp.Equal(r, back) {
			t.Errorf("%+v came back as %+v, %v", r, back, err)
		}
	})
}

func FuzzBlockBodies(f *testing.F) {
	f.Add([]byte("aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa"))
	f.Add([]byte{})
	f.Add([]byte{blockDeflate, 1, 0, 0, 0xff, 0xff})
	f.Fuzz(func(t *testing.T, b []byte) {
		stored := squeeze(b)
		if len(stored) > len(b)+1 {
			t.Errorf("%d bytes became %d", len(b), len(stored))
		}
		if back, err := unsqueeze(stored); err != nil || !bytes.Equal(back, b) {
			t.Errorf("%q came back as %q, %v", b, back, err)
		}
		_, _ = unsqueeze(b) // any bytes: an error or a body, no panic
	})
}

func FuzzLedgerLine(f *testing.F) {
	f.Add([]byte("00000000 {}\n"))
	f.Add([]byte(`12 {"key":"a"}`))
	f.Fuzz(func(t *testing.T, b []byte) {
		if e, err := parseLedgerLine(b); err != nil && e.Key != "" {
			t.Errorf("%q: %v, but also %+v", b, err, e)
		}
	})
}
