package main

import (
	"context"
	"encoding/json"
	"errors"
	"sync"
	"time"

	"github.com/rs/zerolog"

	"pumpside/agent/engine"
	"pumpside/agent/store"
	"pumpside/drivers"
	"pumpside/exporter/mqtt"
	"pumpside/rules/alarm"
	"pumpside/rules/trend"
)

// A keeper puts what the engines leave behind into the state file.
type keeper struct {
	writer *store.Writer
	log    zerolog.Logger
}

// Keep implements engine.Keeper.
func (k keeper) Keep(ctx context.Context, r engine.Record) {
	c := store.ChangeSet{Subject: r.Subject, Counters: r.Counters}
	if r.NoState != nil { // the one before it stays
		k.log.Error().Err(r.NoState).Str("pump", r.Subject).Msg("state not saved")
	} else if r.State != nil {
		c.State = store.State{Version: 1, Body: r.State}
	}
	for _, e := range r.Events {
		c.Journal = append(c.Journal, entryOf(r.Subject, e))
		if e.CommandID != "" {
			c.Commands = append(c.Commands, e.CommandID)
		}
		if e.Service != nil {
			c.Ledger = append(c.Ledger, ledgerEntry(e.Service))
		}
	}
	for _, b := range r.Blocks {
		c.History = append(c.History, blockOf(r.Subject, b))
	}
	for _, one := range r.Captures {
		c.History = append(c.History, captureBlock(r.Subject, one))
	}
	if err := k.writer.Put(context.WithoutCancel(ctx), c); err != nil {
		k.log.Error().Err(err).Str("pump", r.Subject).Int("events", len(r.Events)).Msg("not stored")
	}
}

// Count implements engine.Keeper.
func (k keeper) Count(pump string, packed []byte) {
	k.writer.Keep(store.ChangeSet{Subject: pump, Counters: packed})
}

func blockOf(subject string, b *trend.Block) store.Block {
	body, _ := b.MarshalBinary() // never fails
	return store.Block{Subject: subject, Kind: b.Resolution.String(), Start: b.Start.Wall, Stop: b.Stop(), Body: body}
}

func entryOf(subject string, e *alarm.Event) store.Entry {
	body, err := json.Marshal(e)
	if err != nil { // evidence that is no number says nothing; the event must not be lost with it
		bare := *e
		bare.Evidence, bare.Value, bare.Limit, bare.Causes = nil, nil, nil, nil
		body, _ = json.Marshal(&bare) // of texts, times and whole numbers
	}
	return store.Entry{
		Subject: subject, Seq: e.Seq, At: e.At, Class: store.Class(e.Class), Alarm: e.Alarm, Occurrence: e.Occurrence, Body: body,
	}
}

// An outbox shows the undelivered part of the journal to the publisher.
type outbox struct{ writer *store.Writer }

// Oldest implements mqtt.Outbox.
func (o outbox) Oldest(ctx context.Context, n int) ([]mqtt.Entry, error) {
	pending, err := o.writer.Pending(ctx, n)
	var entries []mqtt.Entry
	for _, u := range pending {
		e := mqtt.Entry{Pump: u.Subject, Stored: u.Stored}
		if bad := json.Unmarshal(u.Body, &e.Event); bad != nil {
			err = errors.Join(err, bad)
			continue
		}
		entries = append(entries, e)
	}
	return entries, err
}

// Delivered implements mqtt.Outbox.
func (o outbox) Delivered(_ context.Context, entries []mqtt.Entry) error {
	keys := make([]store.Key, len(entries))
	for i, e := range entries {
		keys[i] = store.Key{Subject: e.Pump, Seq: e.Event.Seq}
	}
	o.writer.Delivered(keys...)
	return nil
}

// Ready implements mqtt.Outbox.
func (o outbox) Ready() <-chan struct{} { return o.writer.Changed() }

// commands gives people's commands over MQTT to the pumps.
type commands struct {
	store *store.Store
	pumps map[string]*engine.Pump

	mu   sync.Mutex // guards seen
	seen map[string]time.Time
}

func newCommands(s *store.Store, pumps map[string]*engine.Pump) *commands {
	return &commands{store: s, pumps: pumps, seen: map[string]time.Time{}}
}

// First implements mqtt.Commander: the state file knows the ids that were
// carried out, memory those of commands on their way.
func (c *commands) First(ctx context.Context, pump, id string, until time.Time) (bool, error) {
	seen, err := c.store.Seen(ctx, id)
	if err != nil {
		return false, err
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	key := pump + "/" + id
	if _, waiting := c.seen[key]; waiting || seen {
		return false, nil
	}
	for k, end := range c.seen {
		if time.Now().After(end) {
			delete(c.seen, k)
		}
	}
	c.seen[key] = until
	return true, nil
}

// Do implements mqtt.Commander.
func (c *commands) Do(ctx context.Context, pump string, cmd drivers.Command) error {
	p, known := c.pumps[pump]
	if !known {
		return errors.New("there is no such pump")
	}
	e, err := p.Do(ctx, cmd)
	if err != nil {
		return err
	}
	if e.Kind == alarm.Refused {
		return errors.New(e.Refusal)
	}
	return nil
}
