// Package browser drives a headless Chromium, for tests: it speaks the DevTools
// protocol over a pair of pipes.
//
// One browser serves all tests of a package; each test opens a [Tab] of its own
// with no cookies. Methods fail the test they were given. Nothing here may be
// called from two goroutines at a time.
package browser

import (
	"bufio"
	"encoding/json"
	"errors"
	"os"
	"os/exec"
	"testing"
	"time"
)

// patience is how long an answer, or something to come true, may take on a
// machine that does much else.
const patience = 60 * time.Second

// A Browser is a running Chromium. Start one, and End it.
type Browser struct {
	cmd    *exec.Cmd
	in     *os.File
	out    *os.File
	read   *bufio.Reader
	folder string
	last   int // id of the newest call
	tab    *Tab
}

// M is the parameters of a call.
type M map[string]any

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

// find says where Debian has it; CHROMIUM names another. Where there is none
// the test is skipped, but not in CI.
func find(t testing.TB) string {
	name := os.Getenv("CHROMIUM")
	if name == "" {
		name = "chromium"
	}
	path, err := exec.LookPath(name)
	switch {
	case err == nil:
		return path
	case os.Getenv("CI") == "true":
		t.Fatal("chromium is not installed, and CI needs it")
	}
	t.Skip("no chromium on this machine: apt-get install chromium, or name one in CHROMIUM")
	return ""
}

// Start starts a browser, or skips the test where there is none.
func Start(t testing.TB) *Browser {
	t.Helper()
	program := find(t)
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
	b := &Browser{in: in, out: out, read: bufio.NewReaderSize(out, 1<<20), folder: folder}
	b.cmd = exec.Command(program, "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--hide-scrollbars",
		"--disable-background-networking", "--disable-component-update", "--disable-sync", "--disable-dev-shm-usage",
		"--user-data-dir="+folder, "--remote-debugging-pipe")
	b.cmd.ExtraFiles = []*os.File{toBrowser, fromBrowser}
	if err := b.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	_ = toBrowser.Close()
	_ = fromBrowser.Close()
	return b
}

// End stops the browser and removes what it kept.
func (b *Browser) End() {
	b.last++
	_ = b.send("", "Browser.close", nil)
	timer := time.AfterFunc(5*time.Second, func() { _ = b.cmd.Process.Kill() })
	_ = b.cmd.Wait()
	timer.Stop()
	_ = b.in.Close()
	_ = b.out.Close()
	for range 20 { // its helpers let go of the folder a little later
		if os.RemoveAll(b.folder) == nil {
			return
		}
		time.Sleep(50 * time.Millisecond)
	}
}

func (b *Browser) send(session, method string, params any) error {
	message := M{"id": b.last, "method": method}
	if session != "" {
		message["sessionId"] = session
	}
	if params != nil {
		message["params"] = params
	}
	text, err := json.Marshal(message)
	if err != nil {
		return err
	}
	_, err = b.in.Write(append(text, 0))
	return err
}

// call makes a call and takes in whatever comes until its answer does.
func (b *Browser) call(session, method string, params, result any) error {
	b.last++
	if err := b.send(session, method, params); err != nil {
		return err
	}
	if err := b.out.SetReadDeadline(time.Now().Add(patience)); err != nil {
		return err
	}
	for {
		text, err := b.read.ReadBytes(0)
		if err != nil {
			return err
		}
		var r reply
		if err := json.Unmarshal(text[:len(text)-1], &r); err != nil {
			return err
		}
		switch {
		case r.Method != "":
			b.tab.hear(&r)
		case r.ID != b.last: // the answer to a call that was given up
		case r.Error != nil:
			return errors.New(r.Error.Message)
		case result == nil:
			return nil
		default:
			return json.Unmarshal(r.Result, result)
		}
	}
}
