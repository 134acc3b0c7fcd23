package main

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"

	"golang.org/x/sync/errgroup"

	"pumpside/agent/store"
	"pumpside/drivers"
	"pumpside/rules"
)

// ledgerEntry is a service record as the store keeps it. What the row says of
// it is not said again in the body, for the whole ledger is read at each start.
func ledgerEntry(r *drivers.ServiceRecord) store.LedgerEntry {
	entry := store.LedgerEntry{Key: fmt.Sprintf("%s#%d", r.Pump, r.Number), Subject: r.Pump, At: r.Entered}
	brief := *r
	brief.Pump, brief.Entered = "", drivers.Instant{}
	if brief.At == r.Entered {
		brief.At = drivers.Instant{}
	}
	entry.Body, _ = json.Marshal(&brief) // plain values, finite since they were accepted: it cannot fail
	return entry
}

// recordOf reads what ledgerEntry wrote.
func recordOf(row *store.LedgerEntry) (drivers.ServiceRecord, error) {
	var r drivers.ServiceRecord
	if err := json.Unmarshal(row.Body, &r); err != nil {
		return r, fmt.Errorf("ledger line %s: %w", row.Key, err)
	}
	r.Pump, r.Entered = row.Subject, row.At
	if r.At.IsZero() {
		r.At = row.At
	}
	return r, nil
}

// ledgerByPump reads every service record, by pump, as they were entered. The
// lines are decoded while the next ones are read: twenty years of fifty pumps
// stand between the start and the first poll.
func ledgerByPump(ctx context.Context, s *store.Store) (map[string][]drivers.ServiceRecord, error) {
	decoding, ctx := errgroup.WithContext(ctx)
	decoding.SetLimit(2)
	var chunks []*ledgerChunk
	chunk := new(ledgerChunk)
	hand := func() {
		full := chunk
		chunks, chunk = append(chunks, full), new(ledgerChunk)
		decoding.Go(full.decode)
	}
	reading := s.EachLedger(ctx, func(e store.LedgerEntry) error {
		if chunk.rows = append(chunk.rows, e); len(chunk.rows) == ledgerChunkRows {
			hand()
		}
		return nil
	})
	hand()
	if err := cmp.Or(decoding.Wait(), reading); err != nil {
		return nil, err
	}
	return byPump(chunks), nil
}

// A ledgerChunk is lines of the ledger that are decoded together.
type ledgerChunk struct {
	rows    []store.LedgerEntry
	records []drivers.ServiceRecord
}

const ledgerChunkRows = 256

func (c *ledgerChunk) decode() (err error) {
	c.records = make([]drivers.ServiceRecord, len(c.rows))
	for i := range c.rows {
		if c.records[i], err = recordOf(&c.rows[i]); err != nil {
			return err
		}
	}
	c.rows = nil // their bytes are not needed any more
	return nil
}

// byPump parts the records by their pump, each list made once at its length.
func byPump(chunks []*ledgerChunk) map[string][]drivers.ServiceRecord {
	counts := map[string]int{}
	for _, c := range chunks {
		for i := range c.records {
			counts[c.records[i].Pump]++
		}
	}
	ledgers := make(map[string][]drivers.ServiceRecord, len(counts))
	for pump, n := range counts {
		ledgers[pump] = make([]drivers.ServiceRecord, 0, n)
	}
	for _, c := range chunks {
		for i := range c.records {
			pump := c.records[i].Pump
			ledgers[pump] = append(ledgers[pump], c.records[i])
		}
	}
	return ledgers
}

// withLedger gives what was saved of a pump its ledger; a pump of which
// nothing else was saved still has that.
func withLedger(saved *rules.Saved, ledger []drivers.ServiceRecord) *rules.Saved {
	if saved == nil && len(ledger) > 0 {
		saved = rules.OnlyCounters()
	}
	if saved != nil {
		saved.Ledger = ledger
	}
	return saved
}
