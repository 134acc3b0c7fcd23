package main

import (
	"os"
	"strings"
	"syscall"
	"testing"

	"pumpside/simulator"
)

// hash gives the configuration that a metrics page says is in force.
func (p page) hash() string {
	for series := range p {
		if rest, ok := strings.CutPrefix(series, `pumpside_config_info{hash="`); ok {
			return strings.TrimSuffix(rest, `"}`)
		}
	}
	return ""
}

func TestHangupTakesAGoodConfigurationAndRefusesABadOne(t *testing.T) {
	t.Parallel()
	p := newPlant(t, running(1))
	path := p.configure(t, skidSite{})
	good := readFile(t, path)
	agent, metrics := startAgent(t, path)
	var before page
	eventually(t, "the pump runs", func() bool {
		before = scrape(t, metrics)
		return before[`pumpside_running{pump="gp-1"}`] == 1
	})
	hangup := func() {
		if err := agent.Process.Signal(syscall.SIGHUP); err != nil {
			t.Fatal(err)
		}
	}
	refused := func() bool {
		return scrape(t, metrics)[`pumpside_alarm_active{alarm="configuration_refused",priority="medium",pump=""}`] == 1
	}

	// A bad file changes nothing but the alarm.
	writeFile(t, path, edited(t, good, "bore: 25.4 mm", "bore: 25.4"))
	hangup()
	agent.await(t, `the configuration was refused; the one before stays in force`)
	agent.await(t, `pumps\[0\].bore: `)
	eventually(t, "the alarm is raised", refused)
	after := scrape(t, metrics)
	if after.hash() != before.hash() || after.hash() == "" {
		t.Errorf("configuration %q in force, want %q as before", after.hash(), before.hash())
	}
	if run := `pumpside_run_seconds_total{pump="gp-1"}`; after[run] < before[run] || after[`pumpside_running{pump="gp-1"}`] != 1 {
		t.Errorf("run time was %v s and is %v s", before[run], after[run])
	}

	// The good file again: nothing to do, and the alarm clears.
	writeFile(t, path, good)
	hangup()
	agent.await(t, `the configuration has not changed`)
	eventually(t, "the alarm clears", func() bool { return !refused() })

	// A changed good one is taken over in the same process, with all counters.
	writeFile(t, path, edited(t, good, "tag: GP-1", "tag: P-7101A", `listen: "127.0.0.1:0"`, `listen: "`+metrics+`"`))
	hangup()
	agent.await(t, `the configuration has changed`)
	eventually(t, "the new one is in force", func() bool {
		hash := scrape(t, metrics).hash()
		return hash != "" && hash != before.hash()
	})
	eventually(t, "it goes on counting", func() bool {
		return scrape(t, metrics)[`pumpside_run_seconds_total{pump="gp-1"}`] > after[`pumpside_run_seconds_total{pump="gp-1"}`]
	})
	p.happen(t, 0, simulator.Event{Do: simulator.DriveTrip, Size: 7})
	agent.await(t, `Test Site, P-7101A: drive FAULT`)
	if code := agent.stop(t, os.Interrupt); code != 0 {
		t.Errorf("exit code %d", code)
	}
	if text := agent.said.String(); strings.Contains(text, "not stopped cleanly") {
		t.Error("the reload was no clean stop")
	}
}
