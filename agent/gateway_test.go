package main

import (
	"context"
	"database/sql"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"pumpside/agent/store"
	"pumpside/drivers"
)

// quietConfig writes the configuration of a site where nothing answers.
func quietConfig(t *testing.T) (path string) {
	t.Helper()
	folder := t.TempDir()
	var text strings.Builder
	err := writeSkids(&text, skidSite{
		ID: "drops", Title: "Drops", Metrics: "off", Page: "off", Broker: "tcp://127.0.0.1:1", Store: "pumpside.db", Save: "60 s", Log: "info",
		Skids: []skidPump{{ID: "gp-1", Tag: "GP-1", Bus: "tcp: 127.0.0.1:1", Drive: 1, Module: 2}},
	})
	if err != nil {
		t.Fatal(err)
	}
	path = filepath.Join(folder, "pumpside.yaml")
	if err := os.WriteFile(path, []byte(text.String()), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

// quietGateway opens that site.
func quietGateway(t *testing.T) *gateway {
	t.Helper()
	config, err := loadConfig(quietConfig(t))
	if err != nil {
		t.Fatal(err)
	}
	g, err := open(config, zerolog.Nop(), nil)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { g.close() })
	return g
}

// TestOldDropsAreNotToldAgain: the state file counts dropped events for ever;
// the alarm is about those since the look before, also after a restart.
func TestOldDropsAreNotToldAgain(t *testing.T) {
	path := quietConfig(t)
	reopen := func() *gateway {
		config, err := loadConfig(path)
		if err != nil {
			t.Fatal(err)
		}
		config.MQTT.OutboxLimit = 2
		g, err := open(config, zerolog.Nop(), nil)
		if err != nil {
			t.Fatal(err)
		}
		g.publisher = g.makePublisher()
		return g
	}
	g := reopen()
	err := g.without(func(d desk) error {
		for i := range 6 {
			o := order{Pump: "gp-1", Command: drivers.Command{ID: fmt.Sprint(i), User: "op", Verb: drivers.Reset, Alarm: "no_flow"}}
			if _, err := d.order(context.Background(), o); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if err := g.close(); err != nil {
		t.Fatal(err)
	}
	g = reopen()
	defer g.close()
	if n := given(g.writer.Status()); n == 0 {
		t.Fatal("nothing was dropped, so nothing is shown")
	}
	if n := g.look().Outbox.Dropped; n != 0 {
		t.Errorf("after a restart %d old drops are told as new", n)
	}
}

// A state that is older than the journal, because it was lost or could not be
// written, must not give its next events numbers that are taken: they would be
// refused, and nobody called.
func TestEventsAfterALostStateGoOnBehindTheJournal(t *testing.T) {
	path := quietConfig(t)
	config, err := loadConfig(path)
	if err != nil {
		t.Fatal(err)
	}
	seqs := func(id string) (pump, site uint64) {
		t.Helper()
		g, err := open(config, zerolog.Nop(), nil)
		if err != nil {
			t.Fatal(err)
		}
		err = g.without(func(d desk) error {
			for _, pump := range []string{"gp-1", ""} {
				for i := range 3 {
					o := order{Pump: pump, Command: drivers.Command{ID: fmt.Sprint(id, pump, i), User: "op", Verb: drivers.Reset, Alarm: "no_such"}}
					if _, err := d.order(t.Context(), o); err != nil {
						return err
					}
				}
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
		for subject, seq := range map[string]*uint64{"gp-1": &pump, "": &site} {
			if *seq, err = g.store.LastSeq(t.Context(), subject); err != nil {
				t.Fatal(err)
			}
		}
		if err := g.close(); err != nil {
			t.Fatal(err)
		}
		return pump, site
	}
	pump, site := seqs("before")
	db, err := sql.Open("sqlite", config.Store.Path)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := db.Exec("DELETE FROM state"); err != nil {
		t.Fatal(err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	pumpNow, siteNow := seqs("after")
	if pumpNow < pump+3 || siteNow < site+3 {
		t.Errorf("the journals end at %d and %d after three more entries each, they ended at %d and %d", pumpNow, siteNow, pump, site)
	}
}

// While the store fails, events go out that only memory has, under the numbers
// after those of the file. After a kill these must not be given again: a
// consumer that has them would drop new alarms as repeats.
func TestSequenceNumbersSentWhileTheStoreFailedAreNotUsedAgainAfterAKill(t *testing.T) {
	path := quietConfig(t)
	config, err := loadConfig(path)
	if err != nil {
		t.Fatal(err)
	}
	sent := func(id string) (pump, site uint64) {
		t.Helper()
		g, err := open(config, zerolog.Nop(), nil)
		if err != nil {
			t.Fatal(err)
		}
		defer g.close()
		err = g.without(func(d desk) error {
			for pumpID, seq := range map[string]*uint64{"gp-1": &pump, "": &site} {
				out, err := d.order(t.Context(), order{Pump: pumpID, Command: drivers.Command{ID: id + pumpID, User: "op", Verb: drivers.Reset, Alarm: "no_such"}})
				if err != nil {
					return err
				}
				*seq = out.Event.Seq
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
		return pump, site
	}
	pump, site := sent("before")
	if again, _ := sent("clean"); again > pump+100 {
		t.Errorf("after a clean stop the pump goes on at %d, it was at %d", again, pump)
	}
	// The run that was killed left its log, with nothing in it that can be used.
	writeFile(t, config.Store.Path+"-wal", "what a kill leaves")
	pumpNow, siteNow := sent("after")
	if pumpNow < pump+1000 || siteNow < site+1000 {
		t.Errorf("after a kill pump and site go on at %d and %d, they were at %d and %d: 1000 further is wanted", pumpNow, siteNow, pump, site)
	}
}

func TestMinutesAreKeptThirtyDaysAndHoursForTwoYears(t *testing.T) {
	g := quietGateway(t)
	now := g.clock.instant().Wall
	left := func() (days string) {
		for _, kind := range []string{"1m", "1h"} {
			err := g.store.EachBlock(t.Context(), "gp-1", kind, func(_ int64, b store.Block) error {
				days += fmt.Sprintf("%s %.0f, ", kind, now.Sub(b.Start).Hours()/24)
				return nil
			})
			if err != nil {
				t.Fatal(err)
			}
		}
		return days
	}
	err := g.without(func(desk) error {
		for _, kind := range []string{"1m", "1h"} {
			for _, days := range []int{800, 60, 29} {
				start := now.AddDate(0, 0, -days)
				block := store.Block{Subject: "gp-1", Kind: kind, Start: start, Stop: start.Add(6 * time.Hour), Body: []byte("x")}
				if err := g.writer.Put(t.Context(), store.ChangeSet{History: []store.Block{block}}); err != nil {
					return err
				}
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if err := g.close(); err != nil {
		t.Fatal(err)
	}
	if g, err = open(g.config, zerolog.Nop(), nil); err != nil { // the first commit of a run prunes
		t.Fatal(err)
	}
	defer g.close()
	err = g.without(func(desk) error {
		if err := g.writer.Put(t.Context(), store.ChangeSet{Meta: map[string]string{"a": "b"}}); err != nil {
			return err
		}
		eventually(t, "what is too old goes", func() bool { return left() == "1m 29, 1h 29, 1h 60, " || left() == "1m 29, 1h 60, 1h 29, " })
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}
