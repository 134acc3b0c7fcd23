package browser

import (
	"encoding/base64"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// A Tab is one page. It is closed when its test ends.
type Tab struct {
	t       testing.TB
	browser *Browser
	session string
	console []string // errors the page logged
}

// Tab opens a new tab without cookies; a browser has one at a time.
func (b *Browser) Tab(t testing.TB) *Tab {
	t.Helper()
	tab := &Tab{t: t, browser: b}
	b.tab = tab
	must := func(method string, params, result any) {
		t.Helper()
		if err := b.call("", method, params, result); err != nil {
			t.Fatalf("%s: %v", method, err)
		}
	}
	var kept struct{ BrowserContextID string }
	must("Target.createBrowserContext", nil, &kept)
	t.Cleanup(func() {
		_ = b.call("", "Target.disposeBrowserContext", M{"browserContextId": kept.BrowserContextID}, nil)
	})
	var target struct{ TargetID string }
	must("Target.createTarget", M{"url": "about:blank", "browserContextId": kept.BrowserContextID}, &target)
	var attached struct{ SessionID string }
	must("Target.attachToTarget", M{"targetId": target.TargetID, "flatten": true}, &attached)
	tab.session = attached.SessionID
	for _, domain := range []string{"Page", "Runtime", "Log"} {
		tab.Call(domain+".enable", nil, nil)
	}
	return tab
}

// hear keeps the errors a page logged.
func (t *Tab) hear(r *reply) {
	if t != nil && r.SessionID == t.session && (r.Method == "Runtime.exceptionThrown" || r.Method == "Log.entryAdded") {
		t.console = append(t.console, string(r.Params))
	}
}

// Call makes any call of the DevTools protocol.
func (t *Tab) Call(method string, params, result any) {
	t.t.Helper()
	if err := t.browser.call(t.session, method, params, result); err != nil {
		t.t.Fatalf("%s: %v", method, err)
	}
}

// Size makes the window a phone or a desk's screen.
func (t *Tab) Size(width, height int) {
	t.t.Helper()
	t.Call("Emulation.setDeviceMetricsOverride", M{"width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 600}, nil)
}

// Open goes to an address and waits until it is loaded.
func (t *Tab) Open(url string) {
	t.t.Helper()
	t.Call("Page.navigate", M{"url": url}, nil)
	t.Until("document.readyState === 'complete' && location.href !== 'about:blank'")
}

// Eval gives the value of an expression as JSON; a promise is waited for.
func (t *Tab) Eval(expression string) string {
	t.t.Helper()
	var r struct {
		Result           struct{ Value json.RawMessage }
		ExceptionDetails *struct {
			Text      string
			Exception struct{ Description string }
		}
	}
	t.Call("Runtime.evaluate", M{"expression": expression, "returnByValue": true, "awaitPromise": true}, &r)
	if r.ExceptionDetails != nil {
		t.t.Fatalf("%s: %s %s", expression, r.ExceptionDetails.Text, r.ExceptionDetails.Exception.Description)
	}
	return string(r.Result.Value)
}

// Until waits for an expression to become true, also on a page that is loaded
// meanwhile.
func (t *Tab) Until(expression string) {
	t.t.Helper()
	for end := time.Now().Add(patience); ; time.Sleep(20 * time.Millisecond) {
		var r struct{ Result struct{ Value any } }
		err := t.browser.call(t.session, "Runtime.evaluate", M{"expression": expression, "returnByValue": true}, &r)
		if err == nil && r.Result.Value == true {
			return
		}
		if time.Now().After(end) {
			t.t.Fatalf("this never came true: %s (%v)\n%s", expression, err, t.Eval("document.body.innerText.slice(0, 2000)"))
		}
	}
}

// Shot keeps a picture of the whole page when SHOTS names a folder.
func (t *Tab) Shot(name string) {
	t.t.Helper()
	folder := os.Getenv("SHOTS")
	if folder == "" {
		return
	}
	var picture struct{ Data string }
	t.Call("Page.captureScreenshot", M{"format": "png", "captureBeyondViewport": true}, &picture)
	data, err := base64.StdEncoding.DecodeString(picture.Data)
	if err == nil {
		err = os.WriteFile(filepath.Join(folder, name+".png"), data, 0o644)
	}
	if err != nil {
		t.t.Fatal(err)
	}
}

// Quiet fails the test when the page logged an error, other than those that
// contain one of the texts.
func (t *Tab) Quiet(but ...string) {
	t.t.Helper()
next:
	for _, line := range t.console {
		for _, text := range but {
			if strings.Contains(line, text) {
				continue next
			}
		}
		t.t.Errorf("the page logged: %s", line)
	}
}

// Press presses and drags the left button between two places, in CSS pixels.
func (t *Tab) Press(fromX, fromY, toX, toY float64) {
	t.t.Helper()
	for _, move := range []struct {
		kind    string
		x, y    float64
		buttons int
	}{{"mouseMoved", fromX, fromY, 0}, {"mousePressed", fromX, fromY, 1}, {"mouseMoved", toX, toY, 1}, {"mouseReleased", toX, toY, 1}} {
		t.Call("Input.dispatchMouseEvent", M{"type": move.kind, "x": move.x, "y": move.y, "button": "left", "buttons": move.buttons, "clickCount": 1}, nil)
	}
}

// Axe runs axe-core over the page, with everything that can be opened open,
// and gives what it found, "[]" for nothing. AXE names axe.min.js, which is no
// part of this module; without it the test is skipped, but not in CI.
func (t *Tab) Axe() string {
	t.t.Helper()
	path := os.Getenv("AXE")
	if path == "" {
		if os.Getenv("CI") == "true" {
			t.t.Fatal("AXE is not set, and CI needs it")
		}
		t.t.Skip("AXE names no axe.min.js: npm install axe-core, AXE=node_modules/axe-core/axe.min.js")
	}
	script, err := os.ReadFile(path)
	if err != nil {
		t.t.Fatal(err)
	}
	t.Eval(`document.querySelectorAll("details").forEach((d) => { d.open = true })`)
	t.Eval(string(script) + "\n;0")
	return t.Eval(fmt.Sprintf(`axe.run({runOnly: [%s]}).then((r) => r.violations.map((v) => v.id + ": " + v.help + " at " + v.nodes.slice(0, 3).map((n) => n.target + " " + (n.any[0] || n.all[0] || n.none[0] || {}).message).join("; ")))`,
		`"wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"`))
}
