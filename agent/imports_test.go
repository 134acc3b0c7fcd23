package main_test

import (
	"os/exec"
	"strings"
	"testing"
)

// allowed lists, for each package, the packages of this module it may import.
// A value goes one way; a new arrow is a design decision, made here.
var allowed = map[string]string{
	"drivers":          "drivers/quantity",
	"drivers/quantity": "",
	"drivers/modbus":   "drivers",
	"drivers/drive":    "drivers",
	"drivers/regmap":   "drivers drivers/quantity drivers/drive",

	"rules/pump":       "drivers/quantity",
	"rules/counters":   "drivers drivers/quantity rules/pump",
	"rules/hydraulics": "drivers/quantity rules/pump",
	"rules/orders":     "",
	"rules/condition":  "drivers drivers/quantity rules/orders rules/hydraulics rules/pump",
	"rules/diagnosis":  "drivers drivers/quantity rules/hydraulics rules/orders rules/pump",
	"rules/service":    "drivers drivers/quantity rules/counters rules/pump",
	"rules/alarm":      "drivers drivers/quantity",
	"rules/trend":      "drivers",
	"rules/site":       "drivers drivers/quantity rules/alarm rules/pump rules/hydraulics",
	"rules":            "drivers drivers/quantity rules/pump rules/counters rules/hydraulics rules/orders rules/condition rules/diagnosis rules/service rules/alarm rules/trend",

	"rules/report": "drivers drivers/quantity rules rules/hydraulics rules/alarm rules/service rules/site",

	"agent/poll":   "drivers drivers/modbus drivers/regmap",
	"agent/probe":  "drivers drivers/modbus drivers/quantity drivers/regmap",
	"agent/engine": "drivers drivers/quantity rules rules/site rules/alarm rules/service rules/counters rules/trend",
	"agent/store":  "drivers rules rules/site rules/alarm rules/service rules/trend",

	"exporter/mqtt": "drivers drivers/quantity rules rules/site rules/alarm rules/service rules/report",
	"exporter/prom": "drivers drivers/quantity rules rules/site rules/alarm rules/service",
	"exporter/page": "drivers drivers/quantity rules rules/site rules/alarm rules/service rules/report rules/trend",

	"exporter/page/browser": "", // for tests

	"configs":                       "drivers drivers/quantity drivers/modbus drivers/regmap drivers/drive rules rules/site rules/pump rules/counters rules/hydraulics rules/alarm rules/service rules/trend exporter/mqtt",
	"configs/control-room/consumer": "",

	"simulator": "drivers/quantity",
}

func TestImportsPointOneWay(t *testing.T) {
	out, err := exec.Command("go", "list", "-f", `{{.ImportPath}}:{{join .Imports " "}}`, "pumpside/...").Output()
	if err != nil {
		t.Fatal(err)
	}
	for line := range strings.Lines(string(out)) {
		pkg, imports, _ := strings.Cut(strings.TrimSpace(strings.TrimPrefix(line, "pumpside/")), ":")
		if pkg == "agent" {
			continue // the wiring may import everything
		}
		may, listed := allowed[pkg]
		if !listed {
			t.Errorf("package %s is not in the table", pkg)
		}
		for imp := range strings.FieldsSeq(imports) {
			imp, ours := strings.CutPrefix(imp, "pumpside/")
			if ours && !strings.Contains(" "+may+" ", " "+imp+" ") {
				t.Errorf("%s must not import %s", pkg, imp)
			}
		}
	}
}

// TestGoroutinesHaveAnOwner keeps go statements where their owner is.
func TestGoroutinesHaveAnOwner(t *testing.T) {
	out, err := exec.Command("grep", "-rnE", "--include=*.go", "--exclude=*_test.go", `^\s*go (func|[a-z])`, "../drivers", "../rules", "../configs").CombinedOutput()
	if err == nil {
		t.Errorf("go statements outside the folders that own goroutines:\n%s", out)
	}
}
