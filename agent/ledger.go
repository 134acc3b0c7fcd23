package main

import (
	"context"
	"encoding/json"
	"fmt"

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

// ledgerByPump reads every service record, by pump, as they were entered.
func ledgerByPump(ctx context.Context, s *store.Store) (map[string][]drivers.ServiceRecord, error) {
	rows, err := s.Ledger(ctx)
	if err != nil {
		return nil, err
	}
	ledgers := map[string][]drivers.ServiceRecord{}
	for i := range rows {
		r, err := recordOf(&rows[i])
		if err != nil {
			return nil, err
		}
		ledgers[r.Pump] = append(ledgers[r.Pump], r)
	}
	return ledgers, nil
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
