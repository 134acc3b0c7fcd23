package main

import (
	"encoding/json"
	"regexp"
	"strings"
	"testing"
	"time"

	"pumpside/drivers"
	"pumpside/simulator"
)

// The site is in India, the gateway was set up for Denver: people read and write
// the times of the site, with an agent running and without, and also while the
// configuration cannot be read.
func TestTimesAreThoseOfTheSiteNotOfTheGateway(t *testing.T) {
	t.Setenv("TZ", "America/Denver")
	plant := newPlant(t, running(1))
	config := plant.configure(t, skidSite{}, "clock: trusted\n", "clock: trusted\n  time_zone: Asia/Kolkata\n")
	agent, _ := startAgent(t, config)
	plant.happen(t, 0, simulator.Event{Do: simulator.DriveTrip, Size: 7})
	eventually(t, "the drive's fault is told", func() bool {
		return strings.Contains(ask(t, "alarms", "list", "--config", config), "gp-1/drive_fault")
	})
	ask(t, "alarms", "shelve", "gp-1/drive_fault", "--comment", "mechanic on site", "--config", config)

	// Two at night in India is still the day before in Denver, and in UTC.
	ask(t, "service", "record", "gp-1", "diaphragms", "--at", "2026-03-10 02:00", "--run-hours", "0", "--config", config)
	var record drivers.ServiceRecord
	if err := json.Unmarshal([]byte(ask(t, "service", "export", "--json", "--config", config)), &record); err != nil {
		t.Fatal(err)
	}
	if want := time.Date(2026, 3, 9, 20, 30, 0, 0, time.UTC); !record.At.Wall.Equal(want) {
		t.Errorf("recorded as done %v, want %v", record.At.Wall, want)
	}

	tells := func(t *testing.T) {
		t.Helper()
		now := time.Now().UTC().Add(5*time.Hour + 30*time.Minute).Format("2006-01-02 15:")
		for _, one := range []struct{ command, want string }{
			{"alarms list", ` ` + now + `\d\d:\d\d IST  shelved by .* until \d{4}-\d\d-\d\d \d\d:\d\d:\d\d IST`},
			{"alarms show gp-1/drive_fault", `since ` + now + `\d\d:\d\d IST`},
			{"alarms journal", `(?m)^` + now + `\d\d:\d\d IST  `},
			{"service list", `gp-1  1   2026-03-10  0 `},
			{"service due", `(?m)^gp-1  diaphragms .*latest 2028-03-09`},
			{"report", ` IST`},
		} {
			args := append(strings.Fields(one.command), "--config", config)
			if text := ask(t, args...); !regexp.MustCompile(one.want).MatchString(text) {
				t.Errorf("%s does not tell %s:\n%s", one.command, one.want, text)
			}
		}
	}
	t.Run("an agent runs", tells)
	good := readFile(t, config)
	writeFile(t, config, strings.Replace(good, "site:", "sight:", 1))
	t.Run("the configuration is being edited", tells)
	writeFile(t, config, good)
	agent.stop(t, stopSignal)
	t.Run("no agent runs", tells)
}
