package store

import (
	"fmt"
	"math/rand/v2"
	"os"
	"strings"
	"testing"
	"time"
)

// writtenBytes is what this process made the block layer write: write_bytes of
// /proc/self/io, proc(5).
func writtenBytes(t testing.TB) (n int64) {
	t.Helper()
	b, err := os.ReadFile("/proc/self/io")
	if err != nil {
		t.Skip("this kernel does not count what a process writes")
	}
	for line := range strings.Lines(string(b)) {
		if _, err := fmt.Sscanf(line, "write_bytes: %d", &n); err == nil {
			return n
		}
	}
	t.Skip("/proc/self/io has no write_bytes")
	return 0
}

// trendBlock is as large as six hours of minutes and hours of 20 signals as
// rules/trend encodes them, 23 kB, and cannot be compressed further.
func trendBlock(r *rand.Rand) []byte {
	body := make([]byte, 23_000)
	for i := range body {
		body[i] = byte(r.Uint32())
	}
	return body
}

// Sizes of a pump's state: young is that of one with 20 signals, which has 3,062
// after five quiet minutes. A simulated pump whose orders are watched has 250,000
// after a day in eight bands, which deflate to 66,000; as many random digits as
// learned do so too.
const (
	young   = 4096
	learned = 150_000
)

// quietDay keeps and commits what a day without alarms brings: the counters of
// every pump each minute, the state each hour, a block of history each six.
func quietDay(t testing.TB, w *Writer, pumps, size int, from time.Time, r *rand.Rand) {
	t.Helper()
	counters, state := make([]byte, 260), make([]byte, size+100) // counters of 20 signals are 193
	state[0] = '{'
	for minute := range 24 * 60 {
		now := from.Add(time.Duration(minute) * time.Minute)
		for p := range pumps {
			c := ChangeSet{Subject: fmt.Sprintf("pump-%d", p)}
			for i := range counters {
				counters[i] = byte(r.Uint32())
			}
			c.Counters = counters
			if minute%60 == 59 {
				for i := range state[1:] {
					state[1+i] = '0' + byte(r.Uint32()%10)
				}
				c.State = State{Version: 1, Body: append([]byte(nil), state[:size+r.IntN(100)]...)} // never the same length
			}
			if minute%360 == 359 {
				c.History = []Block{{Subject: c.Subject, Kind: "1m", Start: now.Add(-6 * time.Hour), Stop: now, Body: trendBlock(r)}}
			}
			w.Keep(c)
		}
		if err := w.commit(); err != nil {
			t.Fatal(err)
		}
		w.housekeep(now)
	}
}

func TestAQuietDayIsKindToFlash(t *testing.T) {
	for _, tt := range []struct {
		pumps, state int
		megabytes    float64
	}{{2, young, 15}, {50, young, 60}, {2, learned, 15}} {
		t.Run(fmt.Sprintf("%d pumps with states of %d bytes write at most %v MB", tt.pumps, tt.state, tt.megabytes), func(t *testing.T) {
			s, _ := mustOpen(t, stateFile(t), Options{})
			w, err := NewWriter(s)
			if err != nil {
				t.Fatal(err)
			}
			r := rand.New(rand.NewPCG(1, 2))
			before := writtenBytes(t)
			quietDay(t, w, tt.pumps, tt.state, noon, r)
			wrote := float64(writtenBytes(t)-before) / 1e6
			if wrote == 0 {
				t.Skip("the temporary directory is not on a disk")
			}
			t.Logf("%.1f MB written, %.1f MB in the file", wrote, float64(w.Status().FileBytes)/1e6)
			if wrote > tt.megabytes {
				t.Errorf("a quiet day of %d pumps wrote %.1f MB, want at most %v", tt.pumps, wrote, tt.megabytes)
			}
			if _, err := os.Stat(s.path + "-shm"); err == nil {
				t.Error("the wal-index is a file: it would be written back every minute")
			}
		})
	}
}
