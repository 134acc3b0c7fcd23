package prom_test

import (
	"flag"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/testutil"
	"github.com/prometheus/common/expfmt"

	"pumpside/drivers"
	"pumpside/drivers/quantity"
	"pumpside/exporter/prom"
	"pumpside/rules"
	"pumpside/rules/alarm"
	"pumpside/rules/diagnosis"
	"pumpside/rules/service"
	"pumpside/rules/site"
)

var update = flag.Bool("update", false, "write the golden files anew")

// view is one pump of an invented site, with one of everything.
func view() prom.View {
	return prom.View{
		Pumps: []*rules.Snapshot{{
			Pump: "gp-1", Running: alarm.Yes, Observed: true,
			Totals: rules.Totals{RunSeconds: 1_800_000, UnobservedSeconds: 60, Revolutions: 9e6, DischargeStrokes: 27e6, Starts: 41, PumpedVolume: 2100.5, Energy: 9.9e9},
			Signals: []rules.SignalView{
				{Signal: drivers.DischargePressure, Dimension: quantity.Pressure, Value: 7.1e6, Quality: drivers.Good},
				{Signal: drivers.GlycolFlow, Dimension: quantity.Flow, Value: 7e-5, Quality: drivers.Bad, Reason: drivers.Timeout},
				{Signal: drivers.MotorSpeed, Dimension: quantity.Speed, Value: 1450, Quality: drivers.Uncertain, Reason: drivers.LoopUncertain},
				{Signal: drivers.Auxiliary(0), Name: "reboiler", Dimension: quantity.Temperature, Value: 198, Quality: drivers.Good},
			},
			Alarms: []alarm.View{
				{Name: "discharge_pressure_high", Class: alarm.Alarm, Priority: alarm.High, State: alarm.Unacknowledged, Notify: alarm.Now, Responder: alarm.ControlRoom},
				{Name: "oil_due", Class: alarm.Advisory, Priority: alarm.Low, State: alarm.Acknowledged, Shelved: true},
				{Name: "pump_started", Class: alarm.Record},
			},
			Operation: rules.Operation{Mode: rules.RunningInHand}, LeakDown: &rules.LeakDownView{Stops: 9, Newest: 0.12, Usual: 0.03},
			Condition: &rules.ConditionView{
				Causes:  []alarm.Cause{{Cause: "loss_in_discharge_half", Cylinder: 2, Probability: 0.8}, {Cause: "none_of_these", Probability: 0.2}},
				OneHead: 0.8, Leak: diagnosis.Size{Low: 0.06, Middle: 0.08, High: 0.11}, Orders: []rules.OrderView{{Order: 1, Amplitude: 8000}, {Order: 3, Amplitude: 610000}},
				Efficiency: rules.Number{Known: true, Value: 0.91},
			},
			Tasks: []rules.TaskView{{Task: "oil", Life: service.Life{Used: 0.97, By: service.ByRunTime}, Window: service.Window{Due: service.Forecast{Median: time.Unix(1_775_000_000, 0)}}}, {Task: "look"}}, Score: service.Score{Place: 3, Side: 1}, OilUse: &service.OilUse{Before: 0.72, Lately: 1.8},
		}},
		SiteAlarms: []alarm.View{{Name: "device_lost", Class: alarm.Alarm, Priority: alarm.Medium}},
		Groups: []site.GroupView{{
			Group: "north", Pumps: 2, Required: 1, Running: 1, Delivering: 1, Spare: 1, SpareSeen: true, Wanted: alarm.Yes, WantedBy: "gas_flow", Moves: alarm.Yes,
			Flow: 3e-4, FlowKnown: true, Target: 2.5e-4, TargetBy: "gas", Needed: site.Need{Volume: 812.5},
		}},
		Devices: []prom.Device{{
			Bus: "skid", Device: "drive-1", Up: true, Requests: 1200,
			Failures:  []prom.Count{{Label: "timeout", Count: 3}, {Label: "refused"}},
			Durations: prom.Histogram{Bounds: []float64{0.01, 0.1}, Buckets: []uint64{1190, 1197}, Count: 1200, Sum: 9.5},
		}},
		Buses: []prom.Bus{{Bus: "skid", Load: 0.12}},
		Agent: prom.Agent{
			Version: "1.0.0", GoVersion: "go1.26", ConfigHash: "4f2a", ClockSynchronized: true,
			MQTT: &prom.Delivery{Connected: true, Outbox: 2, Oldest: time.Unix(1_770_000_000, 5e8), Dropped: 1},
		},
	}
}

func text(t testing.TB, g prometheus.Gatherer) string {
	t.Helper()
	families, err := g.Gather()
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	encoder := expfmt.NewEncoder(&b, expfmt.NewFormat(expfmt.TypeTextPlain))
	for _, f := range families {
		if err := encoder.Encode(f); err != nil {
			t.Fatal(err)
		}
	}
	return b.String()
}

func TestPage(t *testing.T) {
	got := text(t, prom.Gatherer{View: view})
	if *update {
		if err := os.WriteFile("testdata/page.prom", []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile("testdata/page.prom")
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(string(want), got); d != "" {
		t.Errorf("page (-want +got):\n%s", d)
	}
}

func TestPageIsClean(t *testing.T) {
	problems, err := testutil.GatherAndLint(prom.Gatherer{View: view})
	if err != nil || len(problems) > 0 {
		t.Errorf("lint: %v %v", problems, err)
	}
}

func TestEveryRoleHasACleanFamily(t *testing.T) {
	all := &rules.Snapshot{Pump: "gp-1"}
	for s := drivers.NoSignal + 1; s < drivers.SignalCount; s++ {
		all.Signals = append(all.Signals, rules.SignalView{Signal: s, Quality: drivers.Good, Value: 1})
	}
	g := prom.Gatherer{View: func() prom.View { return prom.View{Pumps: []*rules.Snapshot{all}} }}
	problems, err := testutil.GatherAndLint(g)
	if err != nil || len(problems) > 0 {
		t.Errorf("lint: %v %v", problems, err)
	}
	if n := strings.Count(text(t, g), "\npumpside_"); n < int(drivers.SignalCount)-1 {
		t.Errorf("%d series for %d roles", n, drivers.SignalCount-1)
	}
}

func TestBadValueHasNoSeries(t *testing.T) {
	if got := text(t, prom.Gatherer{View: view}); strings.Contains(got, "glycol_flow") {
		t.Errorf("a bad flow is shown:\n%s", got)
	}
}

func TestHandlerAnswersOnlyItsPaths(t *testing.T) {
	ready := fmt.Errorf("no device has answered for 2 min")
	server := httptest.NewServer(prom.Handler(view, prom.Health{Ready: func() error { return ready }}))
	defer server.Close()
	tests := []struct {
		method, path string
		status       int
		body         string // must be in the answer
	}{
		{"GET", "/metrics", 200, "process_resident_memory_bytes"},
		{"GET", "/metrics", 200, `pumpside_run_seconds_total{pump="gp-1"} 1.8e+06`},
		{"GET", "/healthz", 200, "ok"},
		{"GET", "/readyz", 503, "no device has answered for 2 min"},
		{"POST", "/metrics", 405, ""},
		{"GET", "/", 404, ""},
		{"GET", "/debug/pprof/", 404, ""},
	}
	for _, tt := range tests {
		t.Run(tt.method+" "+tt.path, func(t *testing.T) {
			request, _ := http.NewRequest(tt.method, server.URL+tt.path, nil)
			answer, err := http.DefaultClient.Do(request)
			if err != nil {
				t.Fatal(err)
			}
			defer answer.Body.Close()
			body, _ := io.ReadAll(answer.Body)
			if answer.StatusCode != tt.status || !strings.Contains(string(body), tt.body) {
				t.Errorf("%d, want %d with %q in:\n%.400s", answer.StatusCode, tt.status, tt.body, body)
			}
		})
	}
}
