package store

import (
	"fmt"
	"reflect"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"pumpside/drivers"
)

// unset is what a gateway without a clock shows after it boots.
var unset = drivers.Instant{Wall: time.Unix(90, 0).UTC(), Boot: "boot-2", SinceBoot: 90 * time.Second}

func TestOldJournalEntriesGoWithAnUnsetClockAmongThem(t *testing.T) {
	day := func(n int) drivers.Instant { return at(noon.AddDate(0, 0, n)) }
	tests := []struct {
		name    string
		stamps  []drivers.Instant
		now     drivers.Instant
		rows    int
		deliver bool
		want    []uint64
	}{
		{"those older than 10 days go", []drivers.Instant{day(0), day(1), day(9), day(10)}, day(11), 0, true, []uint64{2, 3, 4}},
		{"what is undelivered stays", []drivers.Instant{day(0), day(1), day(9), day(10)}, day(11), 0, false, []uint64{1, 2, 3, 4}},
		{"an entry without a clock goes with the later one that is too old", []drivers.Instant{unset, day(0), unset, day(9)}, day(11), 0, true, []uint64{3, 4}},
		{"entries without a clock are not old by themselves", []drivers.Instant{unset, unset, day(10)}, day(11), 0, true, []uint64{1, 2, 3}},
		{"nothing goes while the clock cannot be trusted", []drivers.Instant{day(0), day(1), day(2)}, unset, 0, true, []uint64{1, 2, 3}},
		{"too many: the oldest go, whatever their stamps", []drivers.Instant{day(9), unset, day(9), day(9)}, unset, 2, true, []uint64{3, 4}},
		{"the newest stays however old", []drivers.Instant{day(0), day(1)}, day(400), 0, true, []uint64{2}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			s, _ := mustOpen(t, stateFile(t), Options{JournalAge: 240 * time.Hour, JournalRows: tt.rows, Now: func() drivers.Instant { return tt.now }})
			w, err := NewWriter(s)
			if err != nil {
				t.Fatal(err)
			}
			for i, stamp := range tt.stamps {
				e := entry("pump-1", uint64(i+1), 0)
				e.At = stamp
				w.Keep(ChangeSet{Journal: []Entry{e}})
				if tt.deliver {
					w.Delivered(e.Key())
				}
			}
			pruneAll(t, w)
			rows, err := s.Journal(t.Context(), JournalQuery{})
			if err != nil {
				t.Fatal(err)
			}
			var got []uint64
			for _, r := range rows {
				got = append(got, r.Seq)
			}
			if diff := cmp.Diff(tt.want, got); diff != "" {
				t.Errorf("left (-want +got):\n%s", diff)
			}
		})
	}
}

func pruneAll(t *testing.T, w *Writer) {
	t.Helper()
	if err := w.commit(); err != nil {
		t.Fatal(err)
	}
	for w.backlog = true; w.backlog; {
		w.prune()
	}
}

func TestOldHistoryGoesByKind(t *testing.T) {
	day := func(n int) time.Time { return noon.AddDate(0, 0, n) }
	s, _ := mustOpen(t, stateFile(t), Options{
		HistoryAge: map[string]time.Duration{"1m": 720 * time.Hour},
		Now:        func() drivers.Instant { return at(day(40)) },
	})
	w, err := NewWriter(s)
	if err != nil {
		t.Fatal(err)
	}
	block := func(kind string, start time.Time) Block {
		return Block{Subject: "pump-1", Kind: kind, Start: start, Stop: start.Add(6 * time.Hour), Body: []byte("x")}
	}
	epoch := time.Unix(0, 0).UTC()
	for _, b := range []Block{
		block("1m", epoch.Add(time.Hour)), block("1m", day(0)), block("1h", day(0)), block("1m", epoch.Add(2*time.Hour)), block("1m", day(39)),
	} {
		w.Keep(ChangeSet{History: []Block{b}})
		if err := w.commit(); err != nil {
			t.Fatal(err)
		}
	}
	pruneAll(t, w)
	var got []string
	for _, kind := range []string{"1m", "1h"} {
		blocks, err := s.History(t.Context(), "pump-1", kind, epoch, day(100))
		if err != nil {
			t.Fatal(err)
		}
		for _, b := range blocks {
			got = append(got, kind+" "+b.Start.Format(time.DateOnly))
		}
	}
	// The first one without a clock went with the old one after it.
	if want := "[1m 1970-01-01 1m 2026-04-09 1h 2026-03-01]"; fmt.Sprint(got) != want {
		t.Errorf("left %v, want %s", got, want)
	}
}

func TestTheFileStaysWithinItsLimitByLosingTheOldestHistory(t *testing.T) {
	const limit = 1 << 20
	s, _ := mustOpen(t, stateFile(t), Options{FileLimit: limit})
	w, err := NewWriter(s)
	if err != nil {
		t.Fatal(err)
	}
	noise := make([]byte, 4000)
	for i := range 600 {
		for j := range noise {
			noise[j] = byte((i + 1) * (j + 1) * (j>>3 + 7) >> 3)
		}
		start := noon.Add(time.Duration(i) * time.Minute)
		w.Keep(ChangeSet{History: []Block{{Subject: "pump-1", Kind: "1m", Start: start, Stop: start.Add(time.Minute), Body: append([]byte(nil), noise...)}}})
		if i%50 != 49 {
			continue
		}
		// More than the room that is kept free: a first try may fail.
		if err := w.commit(); err != nil {
			if !IsDiskFull(err) {
				t.Fatal(err)
			}
		}
		w.lastPrune = time.Time{}
		w.housekeep(noon)
		pruneAll(t, w)
	}
	if st := w.Status(); st.Err != nil || st.FileBytes > limit {
		t.Errorf("status %+v", st)
	}
	if n := size(s.path); n > limit {
		t.Errorf("the file has %d bytes, limit %d", n, limit)
	}
	blocks, err := s.History(t.Context(), "pump-1", "1m", noon, noon.Add(24*time.Hour*2))
	if err != nil || len(blocks) == 0 || blocks[0].Start.Equal(noon) || !blocks[len(blocks)-1].Start.Equal(noon.Add(599*time.Minute)) {
		t.Errorf("%d blocks are left, %v: want the newest", len(blocks), err)
	}
}

// Of a kind whose number is limited the newest stay, of each subject.
func TestKindsOfHistoryMayBeLimitedInNumber(t *testing.T) {
	s, _ := mustOpen(t, stateFile(t), Options{HistoryMost: map[string]int{"capture": 2}})
	w, err := NewWriter(s)
	if err != nil {
		t.Fatal(err)
	}
	for i := range 4 {
		start := noon.AddDate(0, 0, i)
		for _, of := range [][2]string{{"pump-1", "capture"}, {"pump-2", "capture"}, {"pump-1", "1m"}} {
			if of[0] == "pump-2" && i > 0 {
				continue
			}
			w.Keep(ChangeSet{History: []Block{{Subject: of[0], Kind: of[1], Start: start, Stop: start.Add(time.Hour), Body: []byte{byte('0' + i)}}}})
		}
	}
	pruneAll(t, w)
	for _, tt := range []struct{ subject, kind, want string }{{"pump-1", "capture", "23"}, {"pump-2", "capture", "0"}, {"pump-1", "1m", "0123"}} {
		got := ""
		err := s.EachBlock(t.Context(), tt.subject, tt.kind, func(number int64, b Block) error {
			got += string(b.Body)
			same, found, err := s.Block(t.Context(), tt.kind, number)
			if !found || !reflect.DeepEqual(same, b) {
				t.Errorf("block %d is %+v (found %v), want %+v", number, same, found, b)
			}
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
		if got != tt.want {
			t.Errorf("%s of %s: blocks %q, want %q", tt.kind, tt.subject, got, tt.want)
		}
	}
}
