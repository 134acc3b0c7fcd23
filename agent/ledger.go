package main

import (
	"context"
	"encoding/json"
	"fmt"

	"pumpside/agent/store"
	"pumpside/drivers"
	"pumpside/rules"
)

// ledgerEntry is a service record as the store keeps it.
func ledgerEntry(r *drivers.ServiceRecord) store.LedgerEntry {
	body, _ := json.Marshal(r) // plain values, finite since they were accepted: it cannot fail
	return store.LedgerEntry{Key: fmt.Sprintf("%s#%d", r.Pump, r.Number), Subject: r.Pump, At: r.Entered, Body: body}
}

// ledgerByPump reads every service record, by pump, as they were entered.
func ledgerByPump(ctx context.Context, s *store.Store) (map[string][]drivers.ServiceRecord, error) {
	rows, err := s.Ledger(ctx)
	if err != nil {
		return nil, err
	}
	ledgers := map[string][]drivers.ServiceRecord{}
	for _, row := range rows {
		var r drivers.ServiceRecord
		if err := json.Unmarshal(row.Body, &r); err != nil {
			return nil, fmt.Errorf("ledger line %s: %w", row.Key, err)
		}
		ledgers[row.Subject] = append(ledgers[row.Subject], r)
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
