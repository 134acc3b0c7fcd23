package page_test

import (
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"pumpside/exporter/page"
	"pumpside/exporter/page/browser"
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
	b.Size(1440, 900)
	b.Open(s.url("/pump/gp-1"))
	b.Until(`document.getElementById("live").textContent === "live"`)
	b.Until(inFlow + `.includes("7200")`)

	began := time.Now()
	s.source.change(1, func(x *rules.Snapshot) { x.Signals[0].Value = 7.35e6 })
	b.Until(inFlow + `.includes("7350")`)
	t.Logf("a changed snapshot was on the screen after %v, as seen every 20 ms", time.Since(began).Round(time.Millisecond))

	s.server.Close() // the agent is killed
	b.Until(`document.getElementById("live").textContent === "not live" && !document.getElementById("silent").hidden`)
	b.Until(`document.getElementById("silent").textContent.startsWith("Not live: what you see is from 2026-03-01 12:00:00, ")`)
	b.Until(`getComputedStyle(document.querySelector("#v-discharge_pressure .v")).textDecorationLine === "line-through"`)
	b.Shot("not-live-desk")
	s.source.change(1, func(x *rules.Snapshot) { x.Signals[0].Value = 7.4e6 })
	s.start()
	b.Until(`document.getElementById("live").textContent === "live" && document.getElementById("silent").hidden`)
	b.Until(inFlow + `.includes("7400")`)
	b.Quiet("ERR_CONNECTION_REFUSED", "ERR_INCOMPLETE_CHUNKED_ENCODING", "ERR_CONNECTION_RESET", "ERR_EMPTY_RESPONSE")
}

// A wire passes connections on until it is cut: then those that are open stay
// open and carry nothing any more, as when a radio link drops.
type wire struct {
	net.Listener
	to string

	mu    sync.Mutex // guards what follows
	open  []net.Conn
	pipes sync.WaitGroup
}

func layWire(t *testing.T, to string) *wire {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	w := &wire{Listener: l, to: to}
	w.pipes.Go(func() {
		for {
			near, err := l.Accept()
			if err != nil {
				return
			}
			far, err := net.Dial("tcp", to)
			if err != nil {
				near.Close()
				continue
			}
			w.mu.Lock()
			w.open = append(w.open, near, far)
			w.mu.Unlock()
			w.pipes.Go(func() { _, _ = io.Copy(far, near) })
			w.pipes.Go(func() { _, _ = io.Copy(near, far) })
		}
	})
	t.Cleanup(func() {
		l.Close()
		w.mu.Lock()
		for _, c := range w.open {
			c.Close()
		}
		w.mu.Unlock()
		w.pipes.Wait()
	})
	return w
}

// cut stops every connection that is open without closing it: nothing is read
// from it, and the copying ends.
func (w *wire) cut() {
	w.mu.Lock()
	defer w.mu.Unlock()
	for _, c := range w.open {
		_ = c.SetDeadline(time.Now())
	}
}

func TestALinkThatDropsWithoutAWordHeals(t *testing.T) {
	b := openBrowser(t)
	s := setStage(t)
	w := layWire(t, s.address)
	b.Open("http://" + w.Addr().String() + "/pump/gp-1")
	b.Until(`document.getElementById("live").textContent === "live"`)
	w.cut()
	b.Until(`document.getElementById("live").textContent === "not live"`)
	s.source.change(1, func(x *rules.Snapshot) { x.Signals[0].Value = 7.45e6 })
	b.Until(`document.getElementById("live").textContent === "live" && ` + inFlow + `.includes("7450")`)
	b.Quiet()
}

func (s *stage) signIn(b *browser.Tab, name, to string) {
	s.t.Helper()
	b.Open(s.url("/login?to=" + to))
	b.Eval(fmt.Sprintf(`document.getElementById("user").value = %q; document.getElementById("password").value = %q; document.querySelector(".sign").requestSubmit()`, name, password))
	b.Until(fmt.Sprintf(`document.readyState === "complete" && location.pathname + location.search === %q`, to))
}

func TestAnAlarmIsRaisedSeenAndAcknowledged(t *testing.T) {
	b := openBrowser(t)
	s := setStage(t)
	raised := s.source.view.Pumps[1].Alarms[0]
	s.source.change(1, func(x *rules.Snapshot) {
		x.Alarms[0] = alarm.View{Name: "no_flow", Text: "no_flow", Priority: alarm.High}
	})
	b.Size(390, 844)
	s.signIn(b, "olaf", "/pump/gp-1")
	b.Until(`document.getElementById("first").textContent.includes("Nothing calls for a person.")`)
	s.source.change(1, func(x *rules.Snapshot) { x.Alarms[0] = raised })
	b.Until(`document.querySelector("#first .mark.square.loud") !== null`)
	b.Until(`document.getElementById("first").textContent.includes("Before anyone touches it")`)
	b.Shot("raised-phone")
	b.Eval(`[...document.querySelectorAll("#first button")].find((b) => b.textContent.startsWith("Acknowledge")).click()`)
	b.Until(`document.querySelector(".said") !== null && document.querySelector(".said").textContent.startsWith("Done: ")`)
	b.Until(`document.querySelector("#first .loud") === null && document.getElementById("first").textContent.includes("still active, acknowledged")`)
	if len(s.source.orders) != 1 || s.source.orders[0].User != "olaf" || s.source.to[0] != "gp-1" {
		t.Errorf("orders %+v to %v", s.source.orders, s.source.to)
	}
	b.Quiet()
}

func TestAServiceIsRecordedOnAPhoneAndTakenBack(t *testing.T) {
	b := openBrowser(t)
	s := setStage(t)
	b.Size(390, 844)
	s.signIn(b, "tess", "/service?for=gp-1/oil")
	if got := b.Eval(`document.getElementById("job").value`); got != `"gp-1/oil"` {
		t.Errorf("the link chose %s", got)
	}
	b.Shot("record-phone")
	b.Eval(`document.getElementById("found").value = "dark"; document.getElementById("comment").value = "2.5 L in"; document.querySelector(".record form").requestSubmit()`)
	b.Until(`document.querySelector(".said") !== null && document.getElementById("history").textContent.includes("2.5 L in")`)
	b.Until(`document.getElementById("due").textContent.includes("0 %")`)
	b.Eval(`const d = document.querySelector("#history details"); d.open = true; d.querySelector("[name=comment]").value = "wrong pump"; d.querySelector("form").requestSubmit()`)
	b.Until(`document.querySelector(".undone") !== null && document.getElementById("history").textContent.includes("takes record 1 back")`)
	if len(s.source.orders) != 2 || s.source.orders[1].Service.Undoes != 1 {
		t.Errorf("orders %+v", s.source.orders)
	}
	b.Shot("taken-back-phone")
	b.Quiet()
}

func TestLookingBackAndCloser(t *testing.T) {
	b := openBrowser(t)
	s := setStage(t)
	b.Size(1440, 1200)
	b.Open(s.url("/pump/gp-1"))
	b.Eval(`document.getElementById("trend").scrollIntoView()`)
	b.Until(`document.querySelector("#chart canvas") !== null`)
	b.Until(`document.getElementById("trend-words").textContent.includes("lowest 6900, mean 7175, highest 7500 kPa")`)
	before := b.Eval(`document.getElementById("trend-words").textContent`)
	b.Eval(`document.querySelector("[data-range='63072000']").click()`)
	b.Until(`document.querySelector("[data-range='63072000']").getAttribute("aria-pressed") === "true"`)
	b.Until(`document.getElementById("trend-words").textContent !== ` + before)

	// Dragging over the picture looks closer.
	before = b.Eval(`document.getElementById("trend-words").textContent`)
	var place struct{ X, Y, W, H float64 }
	if err := json.Unmarshal([]byte(b.Eval(`(() => { const r = document.querySelector(".u-over").getBoundingClientRect(); return {x: r.x, y: r.y, w: r.width, h: r.height} })()`)), &place); err != nil {
		t.Fatal(err)
	}
	b.Press(place.X+0.3*place.W, place.Y+place.H/2, place.X+0.5*place.W, place.Y+place.H/2)
	b.Until(`document.getElementById("trend-words").textContent !== ` + before)
	b.Until(`document.querySelector("[data-range][aria-pressed=true]") === null`)
	b.Quiet()
}

// sizes are a phone, the narrowest window that must do, and a desk.
var sizes = map[string][2]int{"phone": {390, 844}, "narrow": {320, 640}, "desk": {1440, 900}}

func TestNothingIsWiderThanTheWindow(t *testing.T) {
	b := openBrowser(t)
	s := setStage(t)
	s.signIn(b, "tess", "/alarms")
	for name, size := range sizes {
		b.Size(size[0], size[1])
		for _, path := range []string{"/", "/pump/gp-1", "/alarms", "/service", "/handover", "/bus", "/login", "/nowhere"} {
			b.Open(s.url(path))
			if got := b.Eval(`document.documentElement.scrollWidth`); got != fmt.Sprint(size[0]) {
				t.Errorf("%s on a %s of %d is %s wide", path, name, size[0], got)
			}
			small := b.Eval(`[...document.querySelectorAll("a, button, select, input:not([type=hidden]), summary")].filter((e) => {
				const r = e.getBoundingClientRect();
				return r.width > 0 && (r.height < 24 || r.width < 24) && !(e.matches("a") && getComputedStyle(e).display === "inline") && !e.matches(".skip");
			}).map((e) => e.outerHTML.slice(0, 80))`)
			if small != "[]" {
				t.Errorf("%s on a %s: targets below 24 px: %s", path, name, small)
			}
			b.Shot(strings.Trim(strings.ReplaceAll(path, "/", "-"), "-") + "_" + name)
		}
	}
	b.Quiet("404")
}

func TestTwoHundredPumpsStillSayWhereToGoFirst(t *testing.T) {
	b := openBrowser(t)
	s := &stage{t: t, source: bigSource(200), address: "127.0.0.1:0", users: filepath.Join(t.TempDir(), "users")}
	s.start()
	t.Cleanup(func() { s.server.Close() })
	for name, size := range sizes {
		b.Size(size[0], size[1])
		for _, path := range []string{"/", "/alarms", "/service", "/handover"} {
			b.Open(s.url(path))
			if got := b.Eval(`document.documentElement.scrollWidth`); got != fmt.Sprint(size[0]) {
				t.Errorf("%s on a %s of %d is %s wide", path, name, size[0], got)
			}
			b.Shot("200" + strings.ReplaceAll(path, "/", "-") + "_" + name)
		}
		b.Open(s.url("/"))
		if got, want := b.Eval(`document.querySelector(".verdict").innerText`), `"12 of 200 pumps need a person. First: GP-4, no glycol flow."`; got != want {
			t.Errorf("on a %s the first line is %s, want %s", name, got, want)
		}
		// The first pump of the list is in sight without scrolling, and is that one.
		if got := b.Eval(`(() => { const e = document.querySelector("#order > li"), r = e.getBoundingClientRect(); return e.querySelector(".tag").textContent === "GP-4" && r.bottom <= innerHeight })()`); got != "true" {
			t.Errorf("on a %s the first pump is out of sight", name)
		}
	}
	b.Quiet()
}

func TestScreensMeetWCAG22AA(t *testing.T) {
	b := openBrowser(t)
	s := setStage(t)
	for _, name := range []string{"", "tess"} {
		if name != "" {
			s.signIn(b, name, "/alarms")
		}
		for size, wide := range sizes {
			b.Size(wide[0], wide[1])
			for _, path := range []string{"/", "/pump/gp-1", "/pump/gp-2", "/alarms", "/service", "/handover", "/bus", "/login", "/nowhere"} {
				b.Open(s.url(path))
				if found := b.Axe(); found != "[]" {
					t.Errorf("%s on a %s for %q: %s", path, size, name, found)
				}
			}
		}
	}
}
