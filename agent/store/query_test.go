package store

import (
	"fmt"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

func TestJournalQueries(t *testing.T) {
	s := start(t, stateFile(t), Options{})
	for i, e := range []Entry{
		{Subject: "pump-1", Seq: 1, Class: 0, Alarm: "low_flow"},
		{Subject: "pump-2", Seq: 1, Class: 1, Alarm: "oil_due"},
		{Subject: "", Seq: 1, Class: 2},
		{Subject: "pump-1", Seq: 2, Class: 2},
		{Subject: "pump-1", Seq: 3, Class: 9, Alarm: "low_flow"}, // no such class: counts as the last
	} {
		e.At = at(noon.Add(time.Duration(i) * time.Hour))
		e.Body = []byte("{}")
		s.put(t, ChangeSet{Journal: []Entry{e}})
	}
	tests := []struct {
		name string
		q    JournalQuery
		want []int64
	}{
		{"all, oldest first", JournalQuery{}, []int64{1, 2, 3, 4, 5}},
		{"the last two", JournalQuery{NewestFirst: true, Limit: 2}, []int64{5, 4}},
		{"one pump", JournalQuery{Subjects: []string{"pump-1"}}, []int64{1, 4, 5}},
		{"the site alone", JournalQuery{Subjects: []string{""}}, []int64{3}},
		{"the site and a pump", JournalQuery{Subjects: []string{"", "pump-2"}}, []int64{2, 3}},
		{"alarms and advisories", JournalQuery{Classes: []Class{0, 1}}, []int64{1, 2}},
		{"the last class", JournalQuery{Classes: []Class{2}}, []int64{3, 4, 5}},
		{"one alarm", JournalQuery{Alarm: "low_flow"}, []int64{1, 5}},
		{"from is in, to is out", JournalQuery{From: noon.Add(time.Hour), To: noon.Add(3 * time.Hour)}, []int64{2, 3}},
		{"a page further", JournalQuery{After: 2, Limit: 2}, []int64{3, 4}},
		{"a page back", JournalQuery{Before: 4, NewestFirst: true, Limit: 2}, []int64{3, 2}},
		{"all at once", JournalQuery{Subjects: []string{"pump-1"}, Classes: []Class{2}, Alarm: "low_flow", From: noon, After: 1}, []int64{5}},
		{"nothing", JournalQuery{Alarm: "no such"}, nil},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			rows, err := s.Journal(t.Context(), tt.q)
			if err != nil {
				t.Fatal(err)
			}
			var got []int64
			for _, r := range rows {
				got = append(got, r.ID)
			}
			if diff := cmp.Diff(tt.want, got); diff != "" {
				t.Errorf("ids (-want +got):\n%s", diff)
			}
		})
	}
}

func TestHistoryGivesTheBlocksThatTouchATime(t *testing.T) {
	s := start(t, stateFile(t), Options{})
	hours := func(n int) time.Time { return noon.Add(time.Duration(n) * time.Hour) }
	block := func(subject, kind string, from, to int, body string) Block {
		return Block{Subject: subject, Kind: kind, Start: hours(from), Stop: hours(to), Body: []byte(body)}
	}
	s.put(t, ChangeSet{History: []Block{
		block("pump-1", "1m", 0, 6, "first"), block("pump-1", "1m", 6, 12, "second"), block("pump-1", "1m", 20, 24, "after a gap"),
		block("pump-1", "1h", 0, 24, "hours"), block("pump-2", "1m", 0, 6, "other pump"),
	}})
	s.put(t, ChangeSet{History: []Block{block("pump-1", "1m", 20, 26, "grown")}})
	tests := []struct {
		name, kind string
		from, to   int
		want       []string
	}{
		{"all of it", "1m", -10, 100, []string{"first", "second", "grown"}},
		{"within one block", "1m", 2, 3, []string{"first"}},
		{"across an edge", "1m", 5, 7, []string{"first", "second"}},
		{"a stop is not part of its block", "1m", 12, 20, nil},
		{"a start is part of its block", "1m", 6, 7, []string{"second"}},
		{"in the gap and further", "1m", 13, 21, []string{"grown"}},
		{"a block that grew replaced the smaller", "1m", 25, 26, []string{"grown"}},
		{"another series", "1h", 5, 6, []string{"hours"}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			blocks, err := s.History(t.Context(), "pump-1", tt.kind, hours(tt.from), hours(tt.to))
			if err != nil {
				t.Fatal(err)
			}
			var got []string
			for _, b := range blocks {
				got = append(got, string(b.Body))
			}
			if fmt.Sprint(got) != fmt.Sprint(tt.want) {
				t.Errorf("got %v, want %v", got, tt.want)
			}
		})
	}
}

func TestAQueryDoesNotHoldUpTheWriter(t *testing.T) {
	s := start(t, stateFile(t), Options{})
	s.put(t, ChangeSet{Journal: []Entry{entry("pump-1", 1, 0), entry("pump-1", 2, 0)}})
	rows, err := s.read.QueryContext(t.Context(), "SELECT id FROM journal")
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	if !rows.Next() { // and stay there
		t.Fatal(rows.Err())
	}
	s.put(t, ChangeSet{Journal: []Entry{entry("pump-1", 3, 0)}})
	n := 1
	for rows.Next() {
		n++
	}
	if n != 2 || rows.Err() != nil {
		t.Errorf("the query saw %d entries, %v; want the 2 there were when it began", n, rows.Err())
	}
}
