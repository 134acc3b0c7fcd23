package store

import (
	"time"

	"pumpside/drivers"
)

// Options are the store's settings. The zero value of a field is its default.
type Options struct {
	SaveEvery   time.Duration // how often counters and what else waits is committed; 1 min
	CopyEvery   time.Duration // how often a copy of the counters is put beside the file; 1 h
	PutTimeout  time.Duration // how long Put waits before it says "not stored"; 2 s
	OutboxLimit int           // most undelivered entries; 10 000; below 0 there is no outbox, for nobody delivers
	MemoryLimit int           // bytes of change sets held while the store cannot take them; 16 MiB
	FileLimit   int64         // bytes the state file may grow to, if the disk has room for them; the oldest history goes at 90 %; 1 GiB

	JournalRows  int                      // most journal entries; 200 000
	JournalAge   time.Duration            // how long they are kept; 2 years
	HistoryAge   map[string]time.Duration // by kind of block; a kind not named is kept 2 years; where room is short, the kind kept the shortest goes first
	HistoryMost  map[string]int           // by kind of block: how many of a subject are kept; a kind not named has no such limit
	CommandsSeen int                      // most command ids remembered; 10 000

	// Now tells the time, for what is removed by age. Nothing is while it is
	// nil or says that the clock is not synchronised.
	Now func() drivers.Instant
}

const twoYears = 731 * 24 * time.Hour

func (o Options) withDefaults() Options {
	setDefault(&o.SaveEvery, time.Minute)
	setDefault(&o.CopyEvery, time.Hour)
	setDefault(&o.PutTimeout, 2*time.Second)
	setDefault(&o.OutboxLimit, 10_000)
	setDefault(&o.MemoryLimit, 16<<20)
	setDefault(&o.FileLimit, 1<<30)
	setDefault(&o.JournalRows, 200_000)
	setDefault(&o.JournalAge, twoYears)
	setDefault(&o.CommandsSeen, 10_000)
	return o
}

func (o Options) historyAge(kind string) time.Duration {
	if age, named := o.HistoryAge[kind]; named {
		return age
	}
	return twoYears
}

func setDefault[T comparable](field *T, value T) {
	var zero T
	if *field == zero {
		*field = value
	}
}
