package main

import (
	"encoding/json"
	"path/filepath"
	"regexp"
	"strconv"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"
)

// TestMain makes this test binary the command pumpside too, first in PATH: what
// the tests of this folder start and kill is the whole agent, built as they
// are, so with -race it watches itself.
func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"pumpside": main})
}

func TestCommandLine(t *testing.T) {
	t.Parallel()
	reference, err := filepath.Abs("../configs/reference.yaml")
	if err != nil {
		t.Fatal(err)
	}
	testscript.Run(t, testscript.Params{
		Dir:                 "testdata/script",
		RequireExplicitExec: true,
		RequireUniqueNames:  true,
		Setup: func(e *testscript.Env) error {
			e.Setenv("NO_COLOR", "1")
			e.Setenv("REFERENCE", reference)
			return nil
		},
		Cmds: map[string]func(*testscript.TestScript, bool, []string){"exits": exits, "await": await, "json": isJSON},
	})
}

// exits runs a command and checks its exit code: exits CODE COMMAND...
func exits(s *testscript.TestScript, _ bool, args []string) {
	want, err := strconv.Atoi(args[0])
	s.Check(err)
	if got := exitCode(s.Exec(args[1], args[2:]...)); got != want {
		s.Fatalf("exit code %d, want %d", got, want)
	}
}

// await runs a command until it prints what is wanted: await PATTERN COMMAND...
func await(s *testscript.TestScript, _ bool, args []string) {
	want, err := regexp.Compile(args[0])
	s.Check(err)
	for end := time.Now().Add(patience); ; time.Sleep(100 * time.Millisecond) {
		_ = s.Exec(args[1], args[2:]...) // it may fail at first
		if want.MatchString(s.ReadFile("stdout")) {
			return
		}
		if time.Now().After(end) {
			s.Fatalf("waited %v in vain for %s", patience, args[0])
		}
	}
}

// isJSON checks that the last command printed one JSON value and nothing else.
func isJSON(s *testscript.TestScript, _ bool, _ []string) {
	if !json.Valid([]byte(s.ReadFile("stdout"))) {
		s.Fatalf("not JSON")
	}
}
