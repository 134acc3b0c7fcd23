package main

import (
	"encoding/json"
	"testing"
	"time"

	"pumpside/agent/store"
	"pumpside/rules/alarm"
	reports "pumpside/rules/report"
)

func TestTheDaysReportIsMadeAnewOnceAMinuteAtMost(t *testing.T) {
	now := time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	for _, tt := range []struct {
		name string
		age  time.Duration // of the last one
		news bool
		want bool
	}{
		{"nothing is new", 10 * time.Minute, false, false},
		{"an alarm changed, a while after", time.Minute, true, true},
		{"an alarm changed, right after", 10 * time.Second, true, false},
		{"a quarter of an hour is over", 15 * time.Minute, false, true},
		{"the clock was set back", -time.Hour, false, true},
	} {
		var r reporter
		if !r.due(now) {
			t.Error("the first is never made")
		}
		r.newest.Store(&reports.Report{At: now.Add(-tt.age)})
		r.news.Store(tt.news)
		if got := r.due(now); got != tt.want {
			t.Errorf("%s: due is %v", tt.name, got)
		}
	}
}

// Whatever is asked of the socket, the answer is bounded: a journal of years in
// memory would have the agent killed.
func TestOneQueryDoesNotTakeTheWholeJournalIntoMemory(t *testing.T) {
	g := quietGateway(t)
	const events, starts = journalMost + 1000, 500
	now := g.clock.instant()
	err := g.without(func(d desk) error {
		var some store.ChangeSet // not all: a Put has two seconds
		for i := range uint64(events + starts) {
			e := alarm.Event{Seq: 100 + i, Kind: alarm.Raised, At: now, Alarm: "no_flow", Text: "no_flow"}
			e.At.Wall = now.Wall.Add(time.Duration(i-events-starts) * time.Second)
			if i >= events {
				e.Kind, e.Text = alarm.Recorded, "pump_started"
			}
			body, err := json.Marshal(&e)
			if err != nil {
				return err
			}
			some.Journal = append(some.Journal, store.Entry{Subject: "gp-1", Seq: e.Seq, At: e.At, Body: body})
			if len(some.Journal) < 250 {
				continue
			}
			if err := g.writer.Put(t.Context(), some); err != nil {
				return err
			}
			some = store.ChangeSet{}
		}
		for _, limit := range []int{0, -1, events, 1 << 40} {
			lines, err := d.journal(t.Context(), journalQuery{Limit: limit})
			if err != nil || len(lines) != journalMost {
				t.Errorf("limit %d: %d lines, %v", limit, len(lines), err)
			}
		}
		r, err := d.report(t.Context(), reportSpan)
		if err != nil {
			return err
		}
		if n := len(r.Changes); n != reportedMost || !r.Since.Equal(r.Changes[n-1].At) {
			t.Errorf("%d changes since %v, want %d, and since the oldest of them", n, r.Since, reportedMost)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}
