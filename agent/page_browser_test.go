package main

import (
	"fmt"
	"path/filepath"
	"slices"
	"sync"
	"testing"
	"time"

	web "pumpside/exporter/page"
	"pumpside/exporter/page/browser"
	"pumpside/simulator"
)

const technicianPassword = "seven-long-pipes"

// selectorRegister is where the simulated drive has its selector.
const selectorRegister = 14

// A spy is a drive that remembers when its selector was first read as it now
// is.
type spy struct {
	simulator.Unit

	mu   sync.Mutex // guards what follows
	word uint16
	at   time.Time
}

// Read implements simulator.Unit.
func (s *spy) Read(at time.Duration, table simulator.Table, first uint16, dst []uint16) bool {
	ok := s.Unit.Read(at, table, first, dst)
	if i := selectorRegister - int(first); ok && table == simulator.Holding && i >= 0 && i < len(dst) {
		s.mu.Lock()
		defer s.mu.Unlock()
		if s.at.IsZero() || dst[i] != s.word {
			s.word, s.at = dst[i], time.Now()
		}
	}
	return ok
}

func (s *spy) since() time.Duration {
	s.mu.Lock()
	defer s.mu.Unlock()
	return time.Since(s.at)
}

// TestARealAgentInABrowser goes the whole way: from a register of a simulated
// drive over Modbus, the agent's process and the event stream to what stands
// on a screen, and back from a button into the journal.
func TestARealAgentInABrowser(t *testing.T) {
	if testing.Short() {
		t.Skip("opens a browser")
	}
	chromium := browser.Start(t)
	t.Cleanup(chromium.End)
	p := newPlant(t, running(1))
	drive := &spy{Unit: p.reads[0].Unit}
	p.reads[0].Unit = drive
	address := freeAddress(t)
	config := p.configure(t, skidSite{Page: address, Save: "1 s"})
	if err := web.AddUser(filepath.Join(filepath.Dir(config), "users"), "tess", web.Technician, technicianPassword); err != nil {
		t.Fatal(err)
	}
	agent := start(t, "pumpside", "run", "--config", config)
	eventually(t, "the page answers", func() bool { return get("http://"+address+"/api/v1/site") != "" })

	tab := chromium.Tab(t)
	tab.Size(1440, 900)
	tab.Open("http://" + address + "/pump/gp-1")
	tab.Until(`document.getElementById("live").textContent === "live"`)
	t.Log("the first page, the browser's cache cold: " + tab.Eval(`(() => { const n = performance.getEntriesByType("navigation")[0], p = performance.getEntriesByName("first-contentful-paint")[0]; return "ready after " + n.domContentLoadedEventEnd.toFixed(0) + " ms, painted after " + (p ? p.startTime.toFixed(0) : "?") + " ms" })()`))

	flipSelector(t, tab, p, drive)
	alarmFromTheDevice(t, tab, p, address)
	killedAndBack(t, tab, agent, config)
	tab.Quiet("ERR_CONNECTION_REFUSED", "ERR_INCOMPLETE_CHUNKED_ENCODING", "ERR_CONNECTION_RESET", "ERR_EMPTY_RESPONSE")
}

// flipSelector changes a value of the device and waits until the screen has it.
func flipSelector(t *testing.T, tab *browser.Tab, p *plant, drive *spy) {
	t.Helper()
	var took []time.Duration
	for i := range 10 {
		position, word := float64(1), "hand"
		if i%2 == 1 {
			position, word = 2, "auto"
		}
		p.happen(t, 0, simulator.Event{Do: simulator.Selector, Size: position})
		tab.Until(fmt.Sprintf(`document.getElementById("v-selector").textContent.trim() === %q`, word))
		took = append(took, drive.since())
	}
	slices.Sort(took)
	t.Logf("from the reading of a register to the screen, seen every 20 ms: best %v, median %v, worst %v", took[0].Round(time.Millisecond), took[5].Round(time.Millisecond), took[9].Round(time.Millisecond))
}

// alarmFromTheDevice lets the drive trip, and acknowledges what comes of it.
func alarmFromTheDevice(t *testing.T, tab *browser.Tab, p *plant, address string) {
	t.Helper()
	tab.Open("http://" + address + "/login?to=/pump/gp-1")
	tab.Eval(fmt.Sprintf(`document.getElementById("user").value = "tess"; document.getElementById("password").value = %q; document.querySelector(".sign").requestSubmit()`, technicianPassword))
	tab.Until(`document.readyState === "complete" && location.pathname === "/pump/gp-1"`)
	const fault = `[...document.querySelectorAll("#first .alarms > li")].find((e) => e.querySelector(".title").textContent.includes("drive fault"))`
	tab.Until(fault + ` === undefined`)
	p.happen(t, 0, simulator.Event{Do: simulator.DriveTrip, Size: 7})
	tab.Until(fault + ` !== undefined && ` + fault + `.querySelector(".loud") !== null`)
	tab.Eval(`[...` + fault + `.querySelectorAll("button")].find((b) => b.textContent.startsWith("Acknowledge")).click()`)
	tab.Until(`document.querySelector(".said") !== null && document.querySelector(".said").textContent.startsWith("Done: ")`)
	tab.Until(fault + `.textContent.includes("still active, acknowledged")`)
	tab.Until(`document.getElementById("journal").textContent.includes("by tess")`)
}

// killedAndBack kills the agent as a power cut would.
func killedAndBack(t *testing.T, tab *browser.Tab, agent *program, config string) {
	t.Helper()
	agent.kill()
	tab.Until(`document.getElementById("live").textContent === "not live" && document.getElementById("silent").textContent.startsWith("Not live: what you see is from ")`)
	tab.Until(`getComputedStyle(document.querySelector("#v-discharge_pressure .v")).textDecorationLine === "line-through"`)
	start(t, "pumpside", "run", "--config", config)
	tab.Until(`document.getElementById("live").textContent === "live" && document.getElementById("silent").hidden`)
	tab.Until(`document.getElementById("journal").textContent.includes("by tess")`)
}
