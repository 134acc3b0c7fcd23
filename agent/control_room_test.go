package main

import (
	"encoding/json"
	"flag"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

var updateExamples = flag.Bool("update-examples", false, "write the examples of configs/control-room anew, from a demo")

const controlRoom = "../configs/control-room"

// TestControlRoomFilesAreGood asks the tools that will read them.
func TestControlRoomFilesAreGood(t *testing.T) {
	t.Parallel()
	promtool, amtool := need(t, "promtool"), need(t, "amtool")
	for _, c := range [][]string{
		{promtool, "check", "config", "--syntax-only", "prometheus.yml"},
		{promtool, "check", "rules", "rules/recording.yml", "rules/alerts.yml"},
		{promtool, "test", "rules", "rules/test.yml"},
		{amtool, "check-config", "alertmanager.yml"},
	} {
		command := exec.Command(c[0], c[1:]...)
		command.Dir = controlRoom
		if out, err := command.CombinedOutput(); err != nil {
			t.Errorf("%v: %v\n%s", c, err, out)
		}
	}
	for severity, want := range map[string]string{"page": "pager", "advisory": "mail", "unheard-of": "mail"} {
		out, err := exec.Command(amtool, "config", "routes", "test", "--config.file="+filepath.Join(controlRoom, "alertmanager.yml"), "severity="+severity).Output()
		if got := strings.TrimSpace(string(out)); err != nil || got != want {
			t.Errorf("severity %s goes to %q, want %q (%v)", severity, got, want, err)
		}
	}
}

// TestDashboardQueriesReturnData runs every query of the dashboard on a real
// Prometheus that scrapes the
// demo.
func TestDashboardQueriesReturnData(t *testing.T) {
	if testing.Short() {
		t.Skip("starts a Prometheus server and a demo")
	}
	t.Parallel()
	need(t, "prometheus")
	demo := startDemo(t)
	server := startPrometheus(t, demo.metrics)
	for _, q := range dashboardQueries(t) {
		if strings.Contains(q.text, "vector(0)") {
			t.Errorf("%s: %s cannot fail", q.panel, q.text)
		}
		eventually(t, q.panel+": "+q.text, func() bool { return len(server.query(t, q.text)) > 0 })
	}
}

// TestDashboardIsLaidOut holds what an import relies on and no query shows:
// panels with names of their own, beside one another, that ask the source which
// the reader chose.
func TestDashboardIsLaidOut(t *testing.T) {
	type box struct{ X, Y, W, H int }
	var dashboard struct {
		SchemaVersion int
		UID           string
		Templating    struct{ List []struct{ Name, Type string } }
		Panels        []struct {
			ID          int
			Type, Title string
			GridPos     box
			Datasource  struct{ Type, UID string }
			Targets     []struct{ RefID string }
		}
	}
	decode(t, readFile(t, filepath.Join(controlRoom, "dashboard.json")), &dashboard)
	if dashboard.SchemaVersion == 0 || dashboard.UID == "" {
		t.Error("no schema version, or no identity")
	}
	if first := dashboard.Templating.List[0]; first.Name != "source" || first.Type != "datasource" {
		t.Errorf("the first variable is %+v, want the source", first)
	}
	titles := map[int]string{}
	for i, p := range dashboard.Panels {
		if other, twice := titles[p.ID]; twice || p.Title == "" {
			t.Errorf("panel %d %q has the number of %q", p.ID, p.Title, other)
		}
		titles[p.ID] = p.Title
		if len(p.Targets) > 0 && (p.Datasource.Type != "prometheus" || p.Datasource.UID != "${source}") {
			t.Errorf("%s asks %+v", p.Title, p.Datasource)
		}
		a := p.GridPos
		if a.X < 0 || a.X+a.W > 24 || a.W < 1 || a.H < 1 {
			t.Errorf("%s is outside the grid of 24 columns: %+v", p.Title, a)
		}
		for _, q := range dashboard.Panels[:i] {
			b := q.GridPos
			if a.X < b.X+b.W && b.X < a.X+a.W && a.Y < b.Y+b.H && b.Y < a.Y+a.H {
				t.Errorf("%s lies over %s", p.Title, q.Title)
			}
		}
	}
}

// A dashboardQuery is one query with every variable at "all".
type dashboardQuery struct{ panel, text string }

func dashboardQueries(t *testing.T) (list []dashboardQuery) {
	t.Helper()
	var dashboard struct {
		Panels []struct {
			Title   string
			Targets []struct{ Expr string }
		}
	}
	decode(t, readFile(t, filepath.Join(controlRoom, "dashboard.json")), &dashboard)
	all := strings.NewReplacer("$site", ".*", "$pump", ".*", "$__rate_interval", "15s")
	for _, p := range dashboard.Panels {
		for _, target := range p.Targets {
			q := dashboardQuery{p.Title, all.Replace(target.Expr)}
			if strings.Contains(q.text, "$") {
				t.Errorf("%s: %s has a variable that is not known", q.panel, q.text)
			}
			list = append(list, q)
		}
	}
	if len(list) < 20 {
		t.Fatalf("%d queries, want those of a whole dashboard", len(list))
	}
	return list
}

// TestExamplesAreWhatTheDemoPublishes holds the examples for consumers against
// a demo: each has the keys of what comes today.
func TestExamplesAreWhatTheDemoPublishes(t *testing.T) {
	if testing.Short() {
		t.Skip("watches a demo for half a minute")
	}
	t.Parallel()
	demo := startDemo(t)
	room := subscribe(t, demo.broker, "", "pumpside/v1/ridge-7/#")
	console := start(t, builtConsumer(t), "tcp://"+demo.broker)
	for name, want := range map[string]struct{ topic, has string }{
		"status":    {"pumpside/v1/ridge-7/status", `"state":"online"`},
		"event":     {"pumpside/v1/ridge-7/gp-1/event", `"event":"worsened"`},
		"alarm":     {"pumpside/v1/ridge-7/gp-1/alarm/oil_due", `"state":"unacknowledged"`},
		"service":   {"pumpside/v1/ridge-7/gp-1/service", `"tasks"`},
		"telemetry": {"pumpside/v1/ridge-7/gp-1/telemetry", `"observed":true`},
		"report":    {"pumpside/v1/ridge-7/report", `"oil_due"`},
	} {
		var got string
		eventually(t, "an example of "+name, func() bool {
			i := slices.IndexFunc(room.on(want.topic), func(text string) bool { return strings.Contains(text, want.has) })
			if i >= 0 {
				got = room.on(want.topic)[i]
			}
			return i >= 0
		})
		path := filepath.Join(controlRoom, "examples", name+".json")
		if *updateExamples {
			writeExample(t, path, got)
			continue
		}
		if diff := cmp.Diff(keysIn(t, readFile(t, path)), keysIn(t, got)); diff != "" {
			t.Errorf("%s is not what is published (-kept +now); run go test ./agent -run Examples -update-examples\n%s", path, diff)
		}
	}
	console.await(t, `(?m)^WORSE: |GP-1: WORSE: run-in oil change DUE`)
}

// keysIn lists the keys at the top of a JSON object.
func keysIn(t *testing.T, text string) []string {
	t.Helper()
	var object map[string]any
	decode(t, text, &object)
	return slices.Sorted(maps.Keys(object))
}

func writeExample(t *testing.T, path, text string) {
	t.Helper()
	var value any
	decode(t, text, &value)
	pretty, err := json.MarshalIndent(value, "", "  ")
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, append(pretty, '\n'), 0o644); err != nil {
		t.Fatal(err)
	}
}

// builtConsumer builds the example of a consumer and gives its path.
func builtConsumer(t *testing.T) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "consumer")
	if out, err := exec.Command("go", "build", "-o", path, "pumpside/configs/control-room/consumer").CombinedOutput(); err != nil {
		t.Fatalf("go build: %v\n%s", err, out)
	}
	return path
}
