package main

import (
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

// TestMain makes this test binary the command pumpside too, first in PATH: what
// the tests of this folder start and kill is the whole agent, built as they
// are, so with -race it watches itself.
func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"pumpside": main})
}
