package main

import (
	"compress/gzip"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"sync/atomic"
	"time"

	"github.com/rs/zerolog"

	"pumpside/drivers"
	"pumpside/rules"
)

// A recorder writes all that one pump's rules are given to readings files, so
// that a replay of them says the same. It holds about 2 MB while it works.
//
// The pump's goroutine hands text over and never waits: what the disk is too
// slow for is lost and counted, and a new file begins, which starts from the
// pump's state then. Files are numbered, and the oldest go.
type recorder struct {
	config string // hash
	folder string
	most   int64 // bytes of one file
	keep   int   // files
	log    zerolog.Logger
	rows   *rowWriter
	began  time.Duration // since boot, of the text not handed over yet
	open   bool          // a file is begun
	file   int64         // counts the files begun
	again  time.Duration // since boot: not before that is another begun after a hole
	full   atomic.Int64  // the newest file that has its size, by that count
	out    chan piece    // capacity recordAhead
}

// A piece is text for a file, by the recorder's count; the first of a file
// begins it.
type piece struct {
	text []byte
	file int64
}

const (
	recordPiece = 32 << 10         // text is handed over in pieces of that size,
	recordEvery = 10 * time.Second // or so often
	recordAhead = 8                // pieces on the way to the disk
)

func newRecorder(set *rules.Settings, config, folder string, most int64, keep int, log zerolog.Logger) *recorder {
	return &recorder{config: config, folder: folder, most: most, keep: keep, log: log, rows: newRowWriter(set), out: make(chan piece, recordAhead)}
}

// Record takes a batch that is about to be stepped. Only the pump's goroutine
// calls it.
func (r *recorder) Record(s *rules.State, b *drivers.Batch) {
	if r.open && r.full.Load() != r.file {
		r.put(s, b)
		return
	}
	if now := b.At.SinceBoot; r.open || now >= r.again || now < r.again-recordEvery {
		r.again = now + recordEvery
		r.hand()
		r.begin(s)
		r.put(s, b)
	}
}

func (r *recorder) put(s *rules.State, b *drivers.Batch) {
	at, late := b.At, b.At.Before(s.At())
	if late { // the rules drop its readings, and so does the file
		at = s.At()
	}
	if len(r.rows.text) == 0 {
		r.began = at.SinceBoot
	}
	r.rows.batch(at, b, !late)
	if len(r.rows.text) >= recordPiece || at.SinceBoot-r.began >= recordEvery || at.SinceBoot < r.began {
		r.hand()
	}
}

// begin begins a new file.
func (r *recorder) begin(s *rules.State) {
	r.rows.text = r.rows.text[:0]
	r.rows.header(r.config, s)
	r.file++
	r.open = r.send(piece{r.rows.text, r.file})
	r.rows.text = nil
}

// hand passes the text on, or loses it and the file's end with it.
func (r *recorder) hand() {
	if len(r.rows.text) == 0 || !r.open {
		return
	}
	r.open = r.send(piece{r.rows.text, r.file})
	r.rows.text = nil
}

func (r *recorder) send(p piece) bool {
	select {
	case r.out <- p:
		return true
	default:
		r.log.Warn().Str("pump", r.rows.pump).Int("bytes", len(p.text)).Msg("the record of readings has a hole: the disk is too slow for it; a new file begins")
		return false
	}
}

// Close hands over what is left. The pump's goroutine has ended.
func (r *recorder) Close() {
	r.hand()
	close(r.out)
}

// Run writes until Close. A disk that refuses ends the record, not the agent.
func (r *recorder) Run(context.Context) error {
	f := &recordFile{}
	for p := range r.out {
		if err := r.write(f, p); err != nil {
			r.log.Error().Err(err).Str("pump", r.rows.pump).Msg("readings are not recorded any more")
			for range r.out { // so that the pump's goroutine finds room
			}
			break
		}
	}
	return r.tell(f.close())
}

func (r *recorder) tell(err error) error {
	if err != nil {
		r.log.Error().Err(err).Str("pump", r.rows.pump).Msg("the record of readings was not closed")
	}
	return nil
}

func (r *recorder) write(f *recordFile, p piece) error {
	if p.file != f.number {
		if err := errors.Join(f.close(), r.next(f)); err != nil {
			return err
		}
		f.number = p.file
	}
	if _, err := f.pack.Write(p.text); err != nil {
		return err
	}
	if err := f.pack.Flush(); err != nil { // so that a kill loses no line handed over
		return err
	}
	at, err := f.file.Seek(0, io.SeekCurrent)
	if at >= r.most {
		r.full.Store(p.file)
	}
	return err
}

// next opens the file with the next number, and removes the oldest.
func (r *recorder) next(f *recordFile) error {
	files, err := recordsOf(r.folder, r.rows.pump)
	if err != nil {
		return err
	}
	number := 1
	if n := len(files); n > 0 {
		number = files[n-1].number + 1
		for _, old := range files[:max(0, n+1-r.keep)] {
			if err := os.Remove(old.path); err != nil && !errors.Is(err, fs.ErrNotExist) {
				return err
			}
		}
	}
	if err := os.MkdirAll(r.folder, 0o750); err != nil {
		return err
	}
	f.file, err = os.OpenFile(filepath.Join(r.folder, fmt.Sprintf("%s-%06d.csv.gz", r.rows.pump, number)), os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o640)
	if err != nil {
		return err
	}
	f.pack, err = gzip.NewWriterLevel(f.file, gzip.BestSpeed)
	return err
}

// A recordFile is the file being written; the zero one is none.
type recordFile struct {
	file   *os.File
	pack   *gzip.Writer
	number int64 // by the recorder's count
}

func (f *recordFile) close() error {
	if f.file == nil {
		return nil
	}
	err := errors.Join(f.pack.Close(), f.file.Close())
	*f = recordFile{}
	return err
}

// A record is a numbered file of a pump.
type record struct {
	path   string
	number int
}

// recordsOf lists a pump's files, oldest first; none where there is no folder.
func recordsOf(folder, pump string) (list []record, err error) {
	paths, err := filepath.Glob(filepath.Join(folder, "*.csv.gz"))
	for _, path := range paths {
		one := record{path: path}
		if n, _ := fmt.Sscanf(filepath.Base(path), pump+"-%06d.csv.gz", &one.number); n == 1 && filepath.Base(path) == fmt.Sprintf("%s-%06d.csv.gz", pump, one.number) {
			list = append(list, one)
		}
	}
	slices.SortFunc(list, func(a, b record) int { return a.number - b.number })
	return list, err
}
