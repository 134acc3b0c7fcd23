package modbus

import (
	"os"
	"os/exec"
	"testing"
)

// This test binary is also the processes its tests need beside them.
var processes = map[string]func(args []string){
	"goburrow":   bareRTUProcess,
	"tcp server": tcpServerProcess,
	"far end":    farEndProcess,
}

const processVariable = "PUMPSIDE_MODBUS_TEST_PROCESS"

func TestMain(m *testing.M) {
	if run, asked := processes[os.Getenv(processVariable)]; asked {
		run(os.Args[1:])
		return
	}
	os.Exit(m.Run())
}

// process prepares another process of this test binary.
func process(t testing.TB, name string, args ...string) *exec.Cmd {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	c := exec.Command(self, args...)
	c.Env = append(os.Environ(), processVariable+"="+name)
	c.Stderr = os.Stderr
	return c
}
