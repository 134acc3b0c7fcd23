package page

import (
	"context"
	"fmt"
	"maps"
	"sync"
	"time"

	"pumpside/rules/alarm"
)

// A journalLine is one entry in words.
type journalLine struct {
	Pump, Tag, When, Headline string
	By, Comment               string
	Kind                      string
}

func (p *Page) journalLines(v viewer, view *View, entries []Entry) []journalLine {
	tags := map[string]string{}
	for _, one := range view.Pumps {
		tags[one.ID] = one.Tag
	}
	list := make([]journalLine, len(entries))
	for i, e := range entries {
		list[i] = journalLine{
			Pump: e.Pump, Tag: tags[e.Pump], When: v.Clock.instant(e.Event.At), Headline: p.headline(v, e.Pump, e.Event),
			By: e.Event.User, Comment: e.Event.Comment, Kind: kindWord(e.Event.Kind),
		}
		if e.Pump != "" && list[i].Tag == "" {
			list[i].Tag = e.Pump // a pump the configuration does not know any more
		}
	}
	return list
}

// journalPart is journalLines, or one line that says why there are none: what
// the store cannot give must not keep the live values from being shown.
func (p *Page) journalPart(v viewer, view *View, entries []Entry, err error) []journalLine {
	if err != nil {
		return []journalLine{{When: v.Clock.stamp(view.At.Wall), Kind: "not read", Headline: "The journal cannot be read: " + err.Error() + "."}}
	}
	return p.journalLines(v, view, entries)
}

func kindWord(k alarm.Kind) string { return spaced(k.String()) }

// tails keeps answers of the store, so that a screen which is drawn every
// second asks it only when there is something new.
type tails struct {
	mu sync.Mutex // guards of
	of map[string]tail
}

type tail struct {
	seq     uint64
	at      time.Time // when it was asked for
	entries []Entry
}

// tailLength is how many entries a pump's screen shows.
const tailLength = 25

func (p *Page) tail(ctx context.Context, pump string, seq uint64) ([]Entry, error) {
	return p.tails.get("pump "+pump, seq, func() ([]Entry, error) {
		return p.source.Journal(ctx, JournalQuery{Pump: pump, Limit: tailLength})
	})
}

// newest gives what a query finds. The answer is kept until something new is
// in any journal; what falls out of the time asked for meanwhile stays in it.
func (p *Page) newest(ctx context.Context, q JournalQuery, view *View) ([]Entry, error) {
	key := fmt.Sprintf("%s|%t|%s|%d|%s", q.Pump, q.Own, q.Alarm, q.Limit, q.Since.Truncate(time.Minute).Format(time.RFC3339))
	return p.tails.get(key, seqs(view), func() ([]Entry, error) { return p.source.Journal(ctx, q) })
}

// seqs changes when an entry is written anywhere: sequences only grow.
func seqs(view *View) uint64 {
	sum := view.Own.Seq
	for _, one := range view.Pumps {
		sum += one.Seq
	}
	return sum
}

// get gives what is kept under a key, or asks anew when its seq is another.
func (t *tails) get(key string, seq uint64, fetch func() ([]Entry, error)) ([]Entry, error) {
	now := time.Now()
	t.mu.Lock()
	maps.DeleteFunc(t.of, func(_ string, kept tail) bool { return now.Sub(kept.at) > tailsFor })
	kept, ok := t.of[key]
	t.mu.Unlock()
	if ok && kept.seq == seq {
		return kept.entries, nil
	}
	entries, err := fetch()
	if err != nil {
		return nil, err
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	all := len(entries)
	for _, other := range t.of {
		all += len(other.entries)
	}
	if len(t.of) >= tailsMost || all > tailsEntries {
		clear(t.of)
	}
	t.of[key] = tail{seq, now, entries}
	return entries, nil
}

// tailsMost is how many answers are kept, tailsFor how long, and tailsEntries
// how many entries they may have together: screens that nobody looks at any more
// cost nothing, and one long answer, drawn every second, is kept all the same.
const (
	tailsMost    = 64
	tailsFor     = 2 * time.Minute
	tailsEntries = handoverMost
)
