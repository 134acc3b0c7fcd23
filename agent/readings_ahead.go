package main

import (
	"io"
	"sync"

	"pumpside/drivers"
)

// A decoded is what a readings file gives next: a batch of a pump, and the bad
// lines skipped before it.
type decoded struct {
	pump  string // "" when only bad lines were left
	line  int    // that ended it
	batch drivers.Batch
	bad   []error
}

// A sheaf is some of them; err is why there are no more, io.EOF at the end.
type sheaf struct {
	list []decoded
	n    int
	err  error
}

// A sheaf has so many batches, and so many sheaves are under way.
const (
	sheafSize = 256
	sheaves   = 4
)

// each reads the file to its end, a little ahead of do, so that lines are
// decoded while others are carried out. It returns the error of do, or why the
// file ended early.
func (f *readingsFile) each(do func(*decoded) error) error {
	free, full, stop := make(chan *sheaf, sheaves), make(chan *sheaf, sheaves), make(chan struct{})
	for range sheaves {
		free <- &sheaf{list: make([]decoded, sheafSize)}
	}
	var reader sync.WaitGroup
	reader.Go(func() {
		for err := error(nil); err == nil; {
			select {
			case <-stop:
				return
			case s := <-free:
				f.fill(s)
				err = s.err
				full <- s // there is room for all of them
			}
		}
	})
	defer reader.Wait()
	defer close(stop)
	for {
		s := <-full
		for i := range s.list[:s.n] {
			if err := do(&s.list[i]); err != nil {
				return err
			}
		}
		switch s.err {
		case nil:
			free <- s
		case io.EOF:
			return nil
		default:
			return s.err
		}
	}
}

// fill decodes as many batches as the sheaf holds.
func (f *readingsFile) fill(s *sheaf) {
	s.n, s.err = 0, nil
	for s.n < len(s.list) && s.err == nil {
		d := &s.list[s.n]
		d.bad = d.bad[:0]
		f.bad = func(err error) { d.bad = append(d.bad, err) }
		d.pump, s.err = f.next(&d.batch)
		d.line = f.line
		if s.err == nil || len(d.bad) > 0 {
			s.n++
		}
	}
}
