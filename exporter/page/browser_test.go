package page_test

import (
	"bufio"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"os/exec"
	"strings"
	"sync"
	"testing"
	"time"
)

// A browser is a headless Chromium, spoken to in its DevTools protocol over a
// pair of pipes.
type browser struct {
	t       testing.TB
	cmd     *exec.Cmd
	in      io.WriteCloser
	out     io.Closer
	folder  string
	done    chan struct{} // nothing more is read
	session string

	mu      sync.Mutex // guards what follows
	next    int
	waiting map[int]chan reply
	console []string // errors the page logged
}

type reply struct {
	ID        int             `json:"id"`
	Method    string          `json:"method"`
	SessionID string          `json:"sessionId"`
	Params    json.RawMessage `json:"params"`
	Result    json.RawMessage `json:"result"`
	Error     *struct {
		Message string `json:"message"`
	} `json:"error"`
}

// chromium is where Debian has it; CHROMIUM names another.
func chromium(t testing.TB) string {
	path := os.Getenv("CHROMIUM")
	if path == "" {
		path = "chromium"
	}
	found, err := exec.LookPath(path)
	if err != nil {
		t.Skip("no chromium on this machine: apt-get install chromium, or name one in CHROMIUM")
	}
	return found
}

// one is the browser of all tests; it is started by the first that needs it.
var one *browser

func TestMain(m *testing.M) {
	code := m.Run()
	if one != nil {
		one.end()
	}
	os.Exit(code)
}

// openBrowser gives the browser a new tab without cookies.
func openBrowser(t testing.TB) *browser {
	t.Helper()
	if testing.Short() {
		t.Skip("opens a browser")
	}
	if one == nil {
		one = startBrowser(t)
	}
	b := one
	b.mu.Lock()
	b.t, b.session = t, ""
	b.mu.Unlock()
	var kept struct{ BrowserContextID string }
	b.call("", "Target.createBrowserContext", nil, &kept)
	t.Cleanup(func() { b.call("", "Target.disposeBrowserContext", m{"browserContextId": kept.BrowserContextID}, nil) })
	var target struct{ TargetID string }
	b.call("", "Target.createTarget", m{"url": "about:blank", "browserContextId": kept.BrowserContextID}, &target)
	var attached struct{ SessionID string }
	b.call("", "Target.attachToTarget", m{"targetId": target.TargetID, "flatten": true}, &attached)
	b.mu.Lock()
	b.session, b.console = attached.SessionID, nil
	b.mu.Unlock()
	for _, domain := range []string{"Page", "Runtime", "Network", "Log"} {
		b.call(b.session, domain+".enable", nil, nil)
	}
	return b
}

func startBrowser(t testing.TB) *browser {
	t.Helper()
	folder, err := os.MkdirTemp("", "browser-")
	if err != nil {
		t.Fatal(err)
	}
	toBrowser, in, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	out, fromBrowser, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	b := &browser{t: t, in: in, out: out, folder: folder, done: make(chan struct{}), waiting: map[int]chan reply{}}
	b.cmd = exec.Command(chromium(t), "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--hide-scrollbars",
		"--disable-background-networking", "--disable-component-update", "--disable-sync", "--disable-dev-shm-usage",
		"--user-data-dir="+folder, "--remote-debugging-pipe")
	b.cmd.ExtraFiles = []*os.File{toBrowser, fromBrowser}
	if err := b.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	toBrowser.Close()
	fromBrowser.Close()
	go func() { defer close(b.done); b.read(out) }()
	return b
}

func (b *browser) end() {
	b.send("", "Browser.close", nil)
	timer := time.AfterFunc(5*time.Second, func() { b.cmd.Process.Kill() })
	b.cmd.Wait()
	timer.Stop()
	b.in.Close()
	b.out.Close()
	<-b.done
	for range 20 { // its helpers let go of the folder a little later
		if os.RemoveAll(b.folder) == nil {
			return
		}
		time.Sleep(50 * time.Millisecond)
	}
}

type m map[string]any

func (b *browser) read(out io.Reader) {
	r := bufio.NewReaderSize(out, 1<<20)
	for {
		text, err := r.ReadBytes(0)
		if err != nil {
			return
		}
		var one reply
		if json.Unmarshal(text[:len(text)-1], &one) != nil {
			continue
		}
		b.mu.Lock()
		switch one.Method {
		case "":
			if c := b.waiting[one.ID]; c != nil {
				c <- one
				delete(b.waiting, one.ID)
			}
		case "Runtime.exceptionThrown", "Log.entryAdded":
			if one.SessionID == b.session { // not a page of a test that is over
				b.console = append(b.console, string(one.Params))
			}
		}
		b.mu.Unlock()
	}
}

func (b *browser) send(session, method string, params any) chan reply {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.next++
	c := make(chan reply, 1)
	b.waiting[b.next] = c
	message := m{"id": b.next, "method": method}
	if session != "" {
		message["sessionId"] = session
	}
	if params != nil {
		message["params"] = params
	}
	text, _ := json.Marshal(message)
	b.in.Write(append(text, 0))
	return c
}

func (b *browser) call(session, method string, params, result any) {
	b.t.Helper()
	select {
	case r := <-b.send(session, method, params):
		if r.Error != nil {
			b.t.Fatalf("%s: %s", method, r.Error.Message)
		}
		if result != nil {
			if err := json.Unmarshal(r.Result, result); err != nil {
				b.t.Fatal(err)
			}
		}
	case <-time.After(30 * time.Second):
		b.t.Fatalf("%s: no answer", method)
	}
}

// size makes the window a phone or a desk's screen.
func (b *browser) size(width, height int) {
	b.t.Helper()
	b.call(b.session, "Emulation.setDeviceMetricsOverride", m{"width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 600}, nil)
}

// open goes to an address and waits until it is loaded.
func (b *browser) open(url string) {
	b.t.Helper()
	b.call(b.session, "Page.navigate", m{"url": url}, nil)
	b.until("document.readyState === 'complete' && location.href !== 'about:blank'")
}

// eval gives the value of an expression as JSON; a promise is waited for.
func (b *browser) eval(expression string) string {
	b.t.Helper()
	var r struct {
		Result           struct{ Value json.RawMessage }
		ExceptionDetails *struct {
			Text      string
			Exception struct{ Description string }
		}
	}
	b.call(b.session, "Runtime.evaluate", m{"expression": expression, "returnByValue": true, "awaitPromise": true}, &r)
	if r.ExceptionDetails != nil {
		b.t.Fatalf("%s: %s %s", expression, r.ExceptionDetails.Text, r.ExceptionDetails.Exception.Description)
	}
	return string(r.Result.Value)
}

// until waits for an expression to become true.
func (b *browser) until(expression string) {
	b.t.Helper()
	end := time.Now().Add(15 * time.Second)
	for {
		var r struct{ Result struct{ Value any } }
		b.call(b.session, "Runtime.evaluate", m{"expression": expression, "returnByValue": true}, &r)
		if r.Result.Value == true {
			return
		}
		if time.Now().After(end) {
			b.t.Fatalf("this never came true: %s\n%s", expression, b.eval("document.body.innerText.slice(0, 2000)"))
		}
		time.Sleep(20 * time.Millisecond)
	}
}

// shot keeps a picture of the whole page when SHOTS names a folder.
func (b *browser) shot(name string) {
	b.t.Helper()
	folder := os.Getenv("SHOTS")
	if folder == "" {
		return
	}
	var picture struct{ Data string }
	b.call(b.session, "Page.captureScreenshot", m{"format": "png", "captureBeyondViewport": true}, &picture)
	data, err := base64.StdEncoding.DecodeString(picture.Data)
	if err == nil {
		err = os.WriteFile(fmt.Sprintf("%s/%s.png", folder, name), data, 0o644)
	}
	if err != nil {
		b.t.Fatal(err)
	}
}

// quiet fails the test when the page logged an error, other than those that
// contain one of the texts.
func (b *browser) quiet(but ...string) {
	b.t.Helper()
	b.mu.Lock()
	defer b.mu.Unlock()
next:
	for _, line := range b.console {
		for _, text := range but {
			if strings.Contains(line, text) {
				continue next
			}
		}
		b.t.Errorf("the page logged: %s", line)
	}
}
