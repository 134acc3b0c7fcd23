package store

import (
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"golang.org/x/sys/unix"

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
		w.prune(false)
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

// fillHistory keeps and commits noisy blocks of a kind, six hours apart.
func fillHistory(t *testing.T, w *Writer, kind string, from time.Time, n, bytes int) {
	t.Helper()
	r := rand.New(rand.NewPCG(1, uint64(len(kind))))
	for i := range n {
		body := make([]byte, bytes)
		for j := range body {
			body[j] = byte(r.Uint32())
		}
		start := from.Add(time.Duration(i) * 6 * time.Hour)
		w.Keep(ChangeSet{History: []Block{{Subject: "pump-1", Kind: kind, Start: start, Stop: start.Add(6 * time.Hour), Body: body}}})
		if err := w.commit(); err != nil {
			t.Fatal(err)
		}
	}
}

func count(t *testing.T, s *Store, kind string) (n int) {
	t.Helper()
	if err := s.EachBlock(t.Context(), "pump-1", kind, func(int64, Block) error { n++; return nil }); err != nil {
		t.Fatal(err)
	}
	return n
}

func TestWhereRoomIsShortMinutesGoBeforeOlderHoursAndCaptures(t *testing.T) {
	s, _ := mustOpen(t, stateFile(t), Options{FileLimit: 1 << 20, HistoryAge: map[string]time.Duration{"1m": 30 * 24 * time.Hour, "1h": 700 * 24 * time.Hour}})
	w, err := NewWriter(s)
	if err != nil {
		t.Fatal(err)
	}
	fillHistory(t, w, "1h", noon, 20, 4000)
	fillHistory(t, w, "capture", noon, 20, 4000)
	fillHistory(t, w, "1m", noon.AddDate(0, 1, 0), 200, 4000)
	w.prune(false)
	if m, h, c := count(t, s, "1m"), count(t, s, "1h"), count(t, s, "capture"); m == 200 || h != 20 || c != 20 {
		t.Errorf("%d blocks of minutes, %d of hours and %d captures are left of 200, 20 and 20", m, h, c)
	}
}

// smallDisk mounts a file system of that many kilobytes.
func smallDisk(t *testing.T, kilobytes int) (folder string) {
	t.Helper()
	folder = t.TempDir()
	if err := unix.Mount("tmpfs", folder, "tmpfs", 0, fmt.Sprintf("size=%dk", kilobytes)); err != nil {
		t.Skipf("mounting a small file system needs root: %v", err)
	}
	t.Cleanup(func() {
		if err := unix.Unmount(folder, 0); err != nil {
			t.Errorf("unmount: %v", err)
		}
	})
	return folder
}

// On a disk smaller than the file's limit, history makes room before the disk
// is full.
func TestOnASmallDiskHistoryMakesRoomBeforeItIsFull(t *testing.T) {
	s, _ := mustOpen(t, filepath.Join(smallDisk(t, 8<<10), "state.db"), Options{})
	w, err := NewWriter(s)
	if err != nil {
		t.Fatal(err)
	}
	for i := range 40 {
		fillHistory(t, w, "1m", noon.AddDate(0, i, 0), 20, 20_000) // 16 MB in all
		w.lastPrune = time.Time{}
		w.housekeep(noon)
	}
	if n := count(t, s, "1m"); n == 0 || n == 800 {
		t.Errorf("%d blocks are left", n)
	}
}

// A disk that others filled takes no page more, and the file is far from its
// limit: minutes make room within it, so that counters go on being saved.
func TestADiskThatOthersFilledHealsByGivingUpMinutes(t *testing.T) {
	disk := smallDisk(t, 16<<10)
	s, _ := mustOpen(t, filepath.Join(disk, "state.db"), Options{HistoryAge: map[string]time.Duration{"1m": 30 * 24 * time.Hour}})
	w, err := NewWriter(s)
	if err != nil {
		t.Fatal(err)
	}
	fillHistory(t, w, "1h", noon, 20, 4000)
	fillHistory(t, w, "1m", noon, 200, 20_000)
	s.checkpoint()
	w.housekeep(noon) // it takes a reserve
	if err := os.WriteFile(filepath.Join(disk, "somebody-elses"), make([]byte, 16<<20), 0o600); !IsDiskFull(err) {
		t.Fatalf("filling the disk: %v", err)
	}
	for i := 0; err == nil && i < 200; i++ {
		start := noon.Add(time.Duration(i) * time.Minute)
		w.Keep(ChangeSet{History: []Block{{Subject: "pump-2", Kind: "capture", Start: start, Stop: start, Body: noise(40_000)}}})
		err = w.commit()
	}
	if !IsDiskFull(err) {
		t.Fatalf("commit on a full disk: %v", err)
	}
	for range 5 {
		w.housekeep(noon)
		if err = w.commit(); err == nil {
			break
		}
	}
	if m, h := count(t, s, "1m"), count(t, s, "1h"); err != nil || m == 200 || h != 20 {
		t.Errorf("commit: %v; %d blocks of minutes of 200 and %d of hours of 20 are left", err, m, h)
	}
}

func noise(n int) []byte {
	r := rand.New(rand.NewPCG(2, 3))
	b := make([]byte, n)
	for i := range b {
		b[i] = byte(r.Uint32())
	}
	return b
}
