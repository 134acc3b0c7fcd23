package store

import (
	"context"
	"fmt"
	"math/rand/v2"
	"testing"
)

// BenchmarkOpen is what the store adds to the start of the process: a file of
// 50 pumps after a quiet day.
func BenchmarkOpen(b *testing.B) {
	path := stateFile(b)
	s, _, err := Open(path, Options{})
	if err != nil {
		b.Fatal(err)
	}
	w, err := NewWriter(s)
	if err != nil {
		b.Fatal(err)
	}
	quietDay(b, w, 50, young, noon, rand.New(rand.NewPCG(1, 2)))
	if err := s.Close(); err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		s, _, err := Open(path, Options{})
		if err != nil {
			b.Fatal(err)
		}
		if _, err := NewWriter(s); err != nil {
			b.Fatal(err)
		}
		if _, err := s.States(context.Background()); err != nil {
			b.Fatal(err)
		}
		b.StopTimer()
		if err := s.Close(); err != nil {
			b.Fatal(err)
		}
		b.StartTimer()
	}
}

// BenchmarkPut is one alarm: state, counters and journal entry, durable.
func BenchmarkPut(b *testing.B) {
	s := start(b, stateFile(b), Options{})
	seq := uint64(0)
	for b.Loop() {
		seq++
		e := entry("pump-1", seq, 0)
		c := ChangeSet{Subject: "pump-1", State: State{1, make([]byte, 2048)}, Counters: make([]byte, 200), Journal: []Entry{e}}
		if err := s.Put(context.Background(), c); err != nil {
			b.Fatal(err)
		}
		s.Delivered(e.Key())
	}
}

// BenchmarkKeep is what every pump does on every beat.
func BenchmarkKeep(b *testing.B) {
	s := start(b, stateFile(b), Options{})
	c := ChangeSet{Subject: "pump-1", Counters: make([]byte, 200)}
	b.ReportAllocs()
	for b.Loop() {
		s.Keep(c)
	}
}

// BenchmarkPending is a consumer's look into the outbox with a long backlog.
func BenchmarkPending(b *testing.B) {
	s := start(b, stateFile(b), Options{})
	var c ChangeSet
	for seq := range uint64(10_000) {
		c.Journal = append(c.Journal, entry(fmt.Sprint("pump-", seq%50), seq/50+1, 0))
	}
	s.put(b, c)
	for b.Loop() {
		if got, err := s.Pending(context.Background(), 8); err != nil || len(got) != 8 {
			b.Fatal(len(got), err)
		}
	}
}
