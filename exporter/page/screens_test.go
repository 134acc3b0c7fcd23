package page_test

import (
	"encoding/json"
	"fmt"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"pumpside/exporter/page"
	"pumpside/rules"
	"pumpside/rules/alarm"
)

// A site in a browser: its server can be stopped and come back at the same
// address.
type stage struct {
	t       *testing.T
	source  *fakeSource
	address string
	users   string
	server  *http.Server
}

func setStage(t *testing.T) *stage {
	t.Helper()
	s := &stage{t: t, source: newSource(), address: "127.0.0.1:0", users: filepath.Join(t.TempDir(), "users")}
	addPeople(t, s.users)
	s.start()
	t.Cleanup(func() { s.server.Close() })
	return s
}

func (s *stage) start() {
	s.t.Helper()
	p, err := page.New(page.Settings{Loopback: true, UsersFile: s.users}, s.source)
	if err != nil {
		s.t.Fatal(err)
	}
	l, err := net.Listen("tcp", s.address)
	if err != nil {
		s.t.Fatal(err)
	}
	s.address = l.Addr().String()
	s.server = &http.Server{Handler: p.Handler()}
	go s.server.Serve(l)
}

func (s *stage) url(path string) string { return "http://" + s.address + path }

const inFlow = `document.getElementById("v-discharge_pressure").textContent`

func TestAnOpenPageLivesAndSaysWhenItDoesNot(t *testing.T) {
	b := openBrowser(t)
	s := setStage(t)
	b.size(1440, 900)
	b.open(s.url("/pump/gp-1"))
	b.until(`document.getElementById("live").textContent === "live"`)
	b.until(inFlow + `.includes("7200")`)

	began := time.Now()
	s.source.change(1, func(x *rules.Snapshot) { x.Signals[0].Value = 7.35e6 })
	b.until(inFlow + `.includes("7350")`)
	t.Logf("a changed snapshot was on the screen after %v, as seen every 20 ms", time.Since(began).Round(time.Millisecond))

	s.server.Close() // the agent is killed
	b.until(`document.getElementById("live").textContent === "not live" && !document.getElementById("silent").hidden`)
	b.until(`document.getElementById("silent").textContent.startsWith("Not live: what you see is from 2026-03-01 12:00:00, ")`)
	b.until(`getComputedStyle(document.querySelector("#v-discharge_pressure .v")).textDecorationLine === "line-through"`)
	b.shot("not-live-desk")
	s.source.change(1, func(x *rules.Snapshot) { x.Signals[0].Value = 7.4e6 })
	s.start()
	b.until(`document.getElementById("live").textContent === "live" && document.getElementById("silent").hidden`)
	b.until(inFlow + `.includes("7400")`)
	b.quiet("ERR_CONNECTION_REFUSED", "ERR_INCOMPLETE_CHUNKED_ENCODING", "ERR_CONNECTION_RESET", "ERR_EMPTY_RESPONSE")
}

func (b *browser) signIn(s *stage, name, to string) {
	b.t.Helper()
	b.open(s.url("/login?to=" + to))
	b.eval(fmt.Sprintf(`document.getElementById("user").value = %q; document.getElementById("password").value = %q; document.querySelector(".sign").requestSubmit()`, name, password))
	b.until(fmt.Sprintf(`document.readyState === "complete" && location.pathname + location.search === %q`, to))
}

func TestAnAlarmIsRaisedSeenAndAcknowledged(t *testing.T) {
	b := openBrowser(t)
	s := setStage(t)
	raised := s.source.view.Pumps[1].Alarms[0]
	s.source.change(1, func(x *rules.Snapshot) {
		x.Alarms[0] = alarm.View{Name: "no_flow", Text: "no_flow", Priority: alarm.High}
	})
	b.size(390, 844)
	b.signIn(s, "olaf", "/pump/gp-1")
	b.until(`document.getElementById("first").textContent.includes("Nothing calls for a person.")`)
	s.source.change(1, func(x *rules.Snapshot) { x.Alarms[0] = raised })
	b.until(`document.querySelector("#first .mark.square.loud") !== null`)
	b.until(`document.getElementById("first").textContent.includes("Before anyone touches it")`)
	b.shot("raised-phone")
	b.eval(`[...document.querySelectorAll("#first button")].find((b) => b.textContent.startsWith("Acknowledge")).click()`)
	b.until(`document.querySelector(".said") !== null && document.querySelector(".said").textContent.startsWith("Done: ")`)
	b.until(`document.querySelector("#first .loud") === null && document.getElementById("first").textContent.includes("there, acknowledged")`)
	if len(s.source.orders) != 1 || s.source.orders[0].User != "olaf" || s.source.to[0] != "gp-1" {
		t.Errorf("orders %+v to %v", s.source.orders, s.source.to)
	}
	b.quiet()
}

func TestAServiceIsRecordedOnAPhoneAndTakenBack(t *testing.T) {
	b := openBrowser(t)
	s := setStage(t)
	b.size(390, 844)
	b.signIn(s, "tess", "/service?for=gp-1/oil")
	if got := b.eval(`document.getElementById("job").value`); got != `"gp-1/oil"` {
		t.Errorf("the link chose %s", got)
	}
	b.shot("record-phone")
	b.eval(`document.getElementById("found").value = "dark"; document.getElementById("comment").value = "2.5 L in"; document.querySelector(".record form").requestSubmit()`)
	b.until(`document.querySelector(".said") !== null && document.getElementById("history").textContent.includes("2.5 L in")`)
	b.until(`document.getElementById("due").textContent.includes("0 %")`)
	b.eval(`const d = document.querySelector("#history details"); d.open = true; d.querySelector("[name=comment]").value = "wrong pump"; d.querySelector("form").requestSubmit()`)
	b.until(`document.querySelector(".undone") !== null && document.getElementById("history").textContent.includes("takes record 1 back")`)
	if len(s.source.orders) != 2 || s.source.orders[1].Service.Undoes != 1 {
		t.Errorf("orders %+v", s.source.orders)
	}
	b.shot("taken-back-phone")
	b.quiet()
}

func TestLookingBackAndCloser(t *testing.T) {
	b := openBrowser(t)
	s := setStage(t)
	b.size(1440, 1200)
	b.open(s.url("/pump/gp-1"))
	b.eval(`document.getElementById("trend").scrollIntoView()`)
	b.until(`document.querySelector("#chart canvas") !== null`)
	b.until(`document.getElementById("trend-words").textContent.includes("lowest 6900, mean 7175, highest 7500 kPa")`)
	before := b.eval(`document.getElementById("trend-words").textContent`)
	b.eval(`document.querySelector("[data-range='63072000']").click()`)
	b.until(`document.querySelector("[data-range='63072000']").getAttribute("aria-pressed") === "true"`)
	b.until(`document.getElementById("trend-words").textContent !== ` + before)

	// Dragging over the picture looks closer.
	before = b.eval(`document.getElementById("trend-words").textContent`)
	var place struct{ X, Y, W, H float64 }
	if err := json.Unmarshal([]byte(b.eval(`(() => { const r = document.querySelector(".u-over").getBoundingClientRect(); return {x: r.x, y: r.y, w: r.width, h: r.height} })()`)), &place); err != nil {
		t.Fatal(err)
	}
	for _, move := range []struct {
		kind    string
		at      float64
		buttons int
	}{{"mouseMoved", 0.3, 0}, {"mousePressed", 0.3, 1}, {"mouseMoved", 0.5, 1}, {"mouseReleased", 0.5, 1}} {
		b.call(b.session, "Input.dispatchMouseEvent", m{"type": move.kind, "x": place.X + move.at*place.W, "y": place.Y + place.H/2, "button": "left", "buttons": move.buttons, "clickCount": 1}, nil)
	}
	b.until(`document.getElementById("trend-words").textContent !== ` + before)
	b.until(`document.querySelector("[data-range][aria-pressed=true]") === null`)
	b.quiet()
}

// sizes are a phone, the narrowest window that must do, and a desk.
var sizes = map[string][2]int{"phone": {390, 844}, "narrow": {320, 640}, "desk": {1440, 900}}

func TestNothingIsWiderThanTheWindow(t *testing.T) {
	b := openBrowser(t)
	s := setStage(t)
	b.signIn(s, "tess", "/alarms")
	for name, size := range sizes {
		b.size(size[0], size[1])
		for _, path := range []string{"/", "/pump/gp-1", "/alarms", "/service", "/handover", "/bus", "/login", "/nowhere"} {
			b.open(s.url(path))
			if got := b.eval(`document.documentElement.scrollWidth`); got != fmt.Sprint(size[0]) {
				t.Errorf("%s on a %s of %d is %s wide", path, name, size[0], got)
			}
			small := b.eval(`[...document.querySelectorAll("a, button, select, input:not([type=hidden]), summary")].filter((e) => {
				const r = e.getBoundingClientRect();
				return r.width > 0 && (r.height < 24 || r.width < 24) && !(e.matches("a") && getComputedStyle(e).display === "inline") && !e.matches(".skip");
			}).map((e) => e.outerHTML.slice(0, 80))`)
			if small != "[]" {
				t.Errorf("%s on a %s: targets below 24 px: %s", path, name, small)
			}
			b.shot(strings.Trim(strings.ReplaceAll(path, "/", "-"), "-") + "_" + name)
		}
	}
	b.quiet("404")
}

// axe is where axe-core's script lies; it is not part of this module.
func axe(t *testing.T) string {
	path := os.Getenv("AXE")
	if path == "" {
		t.Skip("AXE names no axe.min.js: npm install axe-core, AXE=node_modules/axe-core/axe.min.js")
	}
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

func TestScreensMeetWCAG22AA(t *testing.T) {
	script := axe(t)
	b := openBrowser(t)
	s := setStage(t)
	for _, name := range []string{"", "tess"} {
		if name != "" {
			b.signIn(s, name, "/alarms")
		}
		for size, wide := range sizes {
			b.size(wide[0], wide[1])
			for _, path := range []string{"/", "/pump/gp-1", "/pump/gp-2", "/alarms", "/service", "/handover", "/bus", "/login", "/nowhere"} {
				b.open(s.url(path))
				b.eval(`document.querySelectorAll("details").forEach((d) => { d.open = true })`)
				b.eval(script + "\n;0")
				found := b.eval(`axe.run({runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}).then((r) => r.violations.map((v) => v.id + ": " + v.help + " at " + v.nodes.slice(0, 3).map((n) => n.target + " " + (n.any[0] || n.all[0] || n.none[0] || {}).message).join("; ")))`)
				if found != "[]" {
					t.Errorf("%s on a %s for %q: %s", path, size, name, found)
				}
			}
		}
	}
}
