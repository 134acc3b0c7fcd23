package main

import (
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// A lonely machine is a network of its own in which not even loopback is up.
type lonely struct{ holder *program }

func newLonely(t *testing.T) lonely {
	t.Helper()
	if os.Geteuid() != 0 {
		t.Skip("needs root for a network of its own")
	}
	l := lonely{start(t, need(t, "unshare"), "--net", "--", "sleep", "600")}
	eventually(t, "a network of its own", func() bool {
		mine, err1 := os.Readlink("/proc/self/ns/net")
		its, err2 := os.Readlink("/proc/" + strconv.Itoa(l.holder.Process.Pid) + "/ns/net")
		return err1 == nil && err2 == nil && mine != its
	})
	return l
}

// start runs a program on the lonely machine.
func (l lonely) start(t *testing.T, environment []string, args ...string) *program {
	t.Helper()
	return startIn(t, "", environment, need(t, "nsenter"), append([]string{"--target", strconv.Itoa(l.holder.Process.Pid), "--net", "--"}, args...)...)
}

// Nothing can be reached when the agent starts, and it is ready all the same;
// what happens meanwhile is told when the network comes.
func TestAgentStartsWithoutNetworkAndWithoutBroker(t *testing.T) {
	mosquitto, subscriber := need(t, "mosquitto"), need(t, "mosquitto_sub")
	t.Parallel()
	machine := newLonely(t)
	work := folder(t)
	config := filepath.Join(work, "pumpside.yaml")
	text := edited(t, readFile(t, "../configs/examples/drive-tcp-sensors-rtu.yaml"),
		"192.0.2.11:502", "127.0.0.1:5020", "broker.example:1883", "192.0.2.9:1883",
		"/dev/serial/by-id/usb-skid-line", onPTY(t, skidUnits(skids(t, 1))))
	writeFile(t, config, text+"store: {path: pumpside.db}\npage: {listen: \"off\"}\n")

	manager := newSystemd(t)
	agent := machine.start(t, []string{"NOTIFY_SOCKET=" + manager.socket}, "pumpside", "run", "--config", config)
	eventually(t, "it says that it is ready", func() bool { return manager.count("READY=1") == 1 })
	agent.await(t, `mqtt: not connected; trying again`)
	if list := ask(t, "alarms", "list", "--config", config); strings.Contains(list, "high") {
		t.Errorf("alarms at the start:\n%s", list)
	}
	ask(t, "service", "record", "gp-1", "valves", "--comment", "while nobody could be told", "--config", config)

	machine.start(t, nil, "ip", "link", "set", "lo", "up").stopped(t)
	writeFile(t, filepath.Join(work, "broker.conf"), "listener 1883\nallow_anonymous true\n")
	broker := machine.start(t, nil, mosquitto, "-v", "-c", filepath.Join(work, "broker.conf"))
	broker.await(t, "mosquitto version .* running")
	room := machine.start(t, nil, "stdbuf", "-oL", subscriber, "-h", "127.0.0.1", "-t", "pumpside/v1/ridge-7/#", "-v", "-q", "1")
	broker.await(t, "Sending SUBACK to")
	machine.start(t, nil, "ip", "address", "add", "192.0.2.9/32", "dev", "lo").stopped(t) // now the agent can reach it
	machine.start(t, nil, "pumpside", "simulate", "--tcp", "127.0.0.1:5020")
	room.await(t, `pumpside/v1/ridge-7/status .*"state":"online"`)
	room.await(t, `pumpside/v1/ridge-7/gp-1/event .*"service_recorded"`)
	eventually(t, "the pump is seen to run", func() bool {
		return strings.Contains(ask(t, "report", "--config", config), " RUNNING, demand not known for ")
	})
}

// stopped waits for a program that ends by itself, and well.
func (p *program) stopped(t *testing.T) {
	t.Helper()
	eventually(t, "the program ends", p.hasEnded)
	if code := p.ProcessState.ExitCode(); code != 0 {
		t.Fatalf("exit code %d: %s", code, p.said.String())
	}
}
