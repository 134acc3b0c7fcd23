package main

import (
	"net"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"
)

// occupy takes the ports a demo would like, unless somebody else has them, and
// keeps them: so every demo here must find others.
var occupy = sync.OnceFunc(func() {
	for _, address := range []string{"127.0.0.1:5020", "127.0.0.1:1883", "127.0.0.1:8793", "127.0.0.1:9793"} {
		if l, err := net.Listen("tcp", address); err == nil {
			occupied = append(occupied, l)
		}
	}
})

var occupied []net.Listener // or the collector would close them

// A staged demo runs with a temporary folder of its own.
type staged struct {
	*program
	temporary                string
	metrics, broker, devices string // where its servers are
}

func startDemo(t *testing.T, args ...string) *staged {
	t.Helper()
	occupy()
	s := launchDemo(t, args...)
	s.read(t)
	return s
}

func launchDemo(t *testing.T, args ...string) *staged {
	t.Helper()
	s := &staged{temporary: folder(t)}
	s.program = startIn(t, "", []string{"TMPDIR=" + s.temporary}, "pumpside", append([]string{"demo"}, args...)...)
	return s
}

// read waits until the demo has said where its servers are.
func (s *staged) read(t *testing.T) {
	t.Helper()
	s.metrics = s.await(t, `http://(\S+)/metrics`)[1]
	mosquittoSub := s.await(t, `mosquitto_sub -h (\S+) -p (\d+) `)
	s.broker = net.JoinHostPort(mosquittoSub[1], mosquittoSub[2])
	s.devices = s.await(t, `Modbus TCP at (\S+),`)[1]
}

// gone checks that nothing of a demo is left.
func (s *staged) gone(t *testing.T) {
	t.Helper()
	s.await(t, "stopped cleanly")
	left, err := os.ReadDir(s.temporary)
	if err != nil || len(left) > 0 {
		t.Errorf("the demo left %v behind (%v)", left, err)
	}
	for _, address := range []string{s.metrics, s.broker, s.devices} {
		if listening(address) {
			t.Errorf("something listens at %s still", address)
		}
	}
}

func TestDemoTellsItsStoryOnOtherPortsAndStopsOnCtrlC(t *testing.T) {
	t.Parallel()
	demo := startDemo(t)
	for _, at := range []struct{ usual, got string }{{"127.0.0.1:5020", demo.devices}, {"127.0.0.1:1883", demo.broker}, {"127.0.0.1:9793", demo.metrics}} {
		if at.got == at.usual {
			t.Errorf("the demo says it uses %s, which is taken", at.usual)
		}
	}
	room := subscribe(t, demo.broker, "", "pumpside/v1/ridge-7/#")
	eventually(t, "one pump runs, the other stands by", func() bool {
		p := scrape(t, demo.metrics)
		return p[`pumpside_running{pump="gp-1"}`] == 1 && p[`pumpside_mode{mode="stopped_on_demand",pump="gp-2"}`] == 1 && p[`pumpside_group_standby{group="north",standby="available"}`] == 1
	})
	eventually(t, "the status is on the broker", func() bool {
		return strings.Contains(strings.Join(room.on("pumpside/v1/ridge-7/status"), ""), `"state":"online"`)
	})
	if !testing.Short() {
		demo.await(t, `WORSENED +\[ADVISORY\] Ridge Station 7, GP-1: WORSE: run-in oil change DUE`)
		checkMetrics(t, get("http://"+demo.metrics+"/metrics"))
	}
	if code := demo.stop(t, os.Interrupt); code != 0 {
		t.Errorf("exit code %d after Ctrl-C", code)
	}
	demo.gone(t)
}

func TestDemoEndsByItself(t *testing.T) {
	t.Parallel()
	demo := startDemo(t, "--for", "3s")
	eventually(t, "the demo ends", demo.hasEnded)
	if code := demo.ProcessState.ExitCode(); code != 0 {
		t.Errorf("exit code %d", code)
	}
	demo.gone(t)
}

func TestDemoKeepsItsStateWhereItIsTold(t *testing.T) {
	if testing.Short() {
		t.Skip("runs a demo for some seconds, as another test does")
	}
	t.Parallel()
	kept := filepath.Join(folder(t), "kept")
	demo := startDemo(t, "--keep", kept, "--for", "4s")
	demo.await(t, `state +`+kept)
	eventually(t, "the demo ends", demo.hasEnded)
	demo.gone(t)
	config := filepath.Join(kept, "pumpside.yaml")
	journal := ask(t, "alarms", "journal", "--config", config)
	if want := "GP-1: run-in oil change due soon"; !strings.Contains(journal, want) {
		t.Errorf("the journal lacks %q:\n%s", want, journal)
	}
	if due := ask(t, "service", "due", "--config", config); !strings.Contains(due, "gp-1  oil") {
		t.Errorf("service due:\n%s", due)
	}
	again := startDemo(t, "--keep", kept, "--for", "2s")
	again.await(t, "GP-1 circulates glycol again, GP-2 stands by")
	again.gone(t)
	if strings.Contains(again.said.String(), "GP-1 is new") {
		t.Errorf("a second demo tells the beginning again:\n%s", again.said.String())
	}
}

// Each serves its own metrics at the address that it printed.
func TestDemosThatStartTogetherDoNotTakeEachOthersPorts(t *testing.T) {
	t.Parallel()
	var together [4]*staged
	for i := range together {
		together[i] = launchDemo(t)
	}
	taken := map[string]bool{}
	for _, demo := range together {
		demo.read(t)
		eventually(t, "the demo serves at its own address", func() bool { return scrape(t, demo.metrics)[`pumpside_running{pump="gp-1"}`] == 1 })
		for _, address := range []string{demo.metrics, demo.broker, demo.devices} {
			if taken[address] {
				t.Errorf("two demos say they use %s", address)
			}
			taken[address] = true
		}
		if code := demo.stop(t, os.Interrupt); code != 0 {
			t.Errorf("exit code %d", code)
		}
	}
}

// TestLongDemoTellsTheWholeStory watches a demo from its first line to its last.
func TestLongDemoTellsTheWholeStory(t *testing.T) {
	if !*long {
		t.Skip("takes five minutes: give -long")
	}
	t.Parallel()
	demo := startDemo(t, "--for", "300s")
	for !demo.hasEnded() {
		time.Sleep(time.Second)
	}
	demo.gone(t)
	rest := demo.said.String()
	for _, part := range []string{
		"GP-1: WORSE: run-in oil change DUE",
		"the suction of GP-1 is closed",
		"GP-1: no glycol flow",
		"[HIGH] Ridge Station 7: circulation LOST 1 min. STOP GP-1: NO FLOW.",
		"the suction is open again",
		"[CLEARED] Ridge Station 7, GP-1: no glycol flow",
		"hands duty over to GP-2",
		"the instrument module of GP-2 stops answering",
		"gp-2-module does not answer",
		"the module answers again",
		"device does not answer (gp-2-module)",
		"That was the story",
	} {
		at := strings.Index(rest, part)
		if at < 0 {
			t.Fatalf("the story lacks %q, or has it too early:\n%s", part, demo.said.String())
		}
		rest = rest[at:]
	}
}
