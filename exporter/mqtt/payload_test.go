package mqtt

import (
	"bytes"
	"context"
	"encoding/json"
	"flag"
	"maps"
	"math"
	"os"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/rogpeppe/go-internal/txtar"
	"pgregory.net/rapid"

	"pumpside/drivers"
	"pumpside/drivers/quantity"
	"pumpside/rules"
	"pumpside/rules/alarm"
	"pumpside/rules/pump"
	"pumpside/rules/service"
)

var update = flag.Bool("update", false, "rewrite the golden files")

// lostFlow is an alarm with everything an alert can carry.
var lostFlow = Entry{
	Pump: "gp-2", Stored: true,
	Event: alarm.Event{
		Seq: 42, Kind: alarm.Raised, At: instant(0), Alarm: "no_flow", Text: "no_flow", Occurrence: 3, TimeToRespond: 30 * time.Minute,
		Class: alarm.Alarm, Priority: alarm.High, Responder: alarm.ControlRoom, Notify: alarm.Now,
		State: alarm.Unacknowledged, Previous: alarm.Normal, RaisedAt: instant(0),
		Signal: drivers.GlycolFlow, Value: &alarm.Quantity{Value: 0.00001, Dimension: quantity.Flow}, Limit: &alarm.Quantity{Value: 0.0001, Dimension: quantity.Flow},
		Duration: 240 * time.Second, DataAge: 5 * time.Second, Quality: drivers.Good,
		Causes:      []alarm.Cause{{Cause: "gas_locked", Probability: 0.7}, {Cause: "loss_in_suction_half", Cylinder: 2, Probability: 0.1}},
		PumpRunning: alarm.Yes, Standby: "not available", GasFlowing: alarm.Yes,
		LastService: "oil", LastServiceBy: "d.moss", SinceLastService: 212 * time.Hour,
	},
}

// driveFault is an alarm of a pump that stands.
var driveFault = Entry{Pump: "gp-2", Stored: true, Event: alarm.Event{
	Seq: 44, Kind: alarm.Raised, At: instant(0), Alarm: "drive_fault", Text: "drive_fault", Occurrence: 1,
	Class: alarm.Alarm, Priority: alarm.Medium, Responder: alarm.Automation, Notify: alarm.NextWorkingDay, State: alarm.Unacknowledged, RaisedAt: instant(0),
	Quality: drivers.Good, PumpRunning: alarm.No, GasFlowing: alarm.No, Standby: "running", DriveFaultCode: 14,
}}

// nothing is an event about which nothing is known.
var nothing = Entry{Event: alarm.Event{Seq: 1, Kind: alarm.Recorded, At: drivers.Instant{Wall: time.Unix(90, 0), Boot: "boot-0", SinceBoot: time.Minute}}}

// acknowledged is what a person did.
var acknowledged = Entry{Pump: "gp-2", Stored: true, Event: alarm.Event{
	Seq: 43, Kind: alarm.AcknowledgedBy, At: instant(time.Minute), Alarm: "no_flow", Text: "no_flow", Occurrence: 3, State: alarm.Acknowledged, Previous: alarm.Unacknowledged,
	RaisedAt: instant(0), User: "r.night", Comment: "on my way <15 min>", CommandID: "c-1",
}}

// recorded is a service record with most of what one can say.
var recorded = Entry{Pump: "gp-2", Stored: true, Event: alarm.Event{
	Seq: 45, Kind: alarm.ServiceRecorded, At: instant(time.Hour), Alarm: "service_recorded", Text: "service_recorded", Subject: "valves", Class: alarm.Record,
	Notify: alarm.Never, Quality: drivers.Good, User: "d.moss", CommandID: "c-2",
	Service: &drivers.ServiceRecord{
		Pump: "gp-2", Number: 7, Entered: instant(time.Hour), User: "d.moss", At: instant(0), RunTime: 5200*time.Hour + 30*time.Minute, Strokes: 93.6e6, Counted: service.FromHistory,
		Disputed: "the panel showed 5100 h, but 5150 h before that on 2026-01-02", Mode: "INL", Mechanism: "2.4",
		Entry: drivers.ServiceEntry{
			Task: "valves", At: instant(0).Wall, By: "r.field", Reason: "finding", Action: service.Replaced, Cylinder: 2, Side: "suction", Found: string(service.Leaking),
			Before: []drivers.ServiceReading{{Name: "discharge pressure", Value: 71.5, Unit: "bar"}}, After: []drivers.ServiceReading{{Name: "starts", Value: 2}},
			Parts: []drivers.ServicePart{{Name: "valve cartridge", Number: "V-40", Serial: "0077", Quantity: 1}, {Name: "O-ring"}},
			Order: "W-1234", Labour: 1.5, Downtime: 2, Note: "seat wire-drawn",
		},
	},
}}

func goldenPublisher() *Publisher {
	p := publisher(nil)
	p.Site.StreamID, p.Site.Pumps = "5f0c7a1e", []string{"gp-2"}
	p.Names = func(pump string, e *alarm.Event) alarm.Site {
		if pump == "" {
			return alarm.Site{Name: "North", Location: "km 12, north road", Hazards: "sour gas"}
		}
		site := alarm.Site{Name: "North", Pump: "GP-2", Tag: "P-1042", Group: "lean glycol", Location: "km 12, north road, pump house", Hazards: "sour gas"}
		if e.DriveFaultCode != 0 {
			site.DriveFault = "code 14: earth fault"
		}
		return site
	}
	p.Now = func() drivers.Instant { return instant(2 * time.Second) }
	return p
}

func goldenSnapshot() *rules.Snapshot {
	last := lostFlow.Event
	return &rules.Snapshot{
		Pump: "gp-2", At: instant(0), Running: alarm.Yes, Observed: true,
		Totals: rules.Totals{RunSeconds: 3600 * 499.5, UnobservedSeconds: 60, Revolutions: 8_991_000, DischargeStrokes: 26_973_000, Starts: 12, PumpedVolume: 812.5, Energy: math.NaN()},
		Signals: []rules.SignalView{
			{Signal: drivers.DischargePressure, Name: "discharge_pressure", Dimension: quantity.Pressure, Value: 6.9e6, Quality: drivers.Good, At: instant(0), GoodAt: instant(0)},
			{Signal: drivers.GlycolFlow, Name: "glycol_flow", Dimension: quantity.Flow, Value: 0.0001, Reason: drivers.Timeout, At: instant(0), GoodAt: instant(-8 * time.Second)},
			{Signal: drivers.RunDemand, Name: "run_demand", Reason: drivers.NeverRead},
		},
		Alarms: []alarm.View{
			{Name: "no_flow", Class: alarm.Alarm, Priority: alarm.High, State: alarm.Unacknowledged, RaisedAt: instant(0), ChangedAt: instant(0), Occurrence: 3, Last: &last, Shelved: true, ShelvedBy: "r.night", ShelvedUntil: noon.Add(8 * time.Hour)},
			{Name: "oil_temperature_high", Class: alarm.Alarm, Priority: alarm.Medium},
		},
		Tasks: []rules.TaskView{
			{Task: "oil", Status: service.DueSoon, Life: service.Life{Used: 0.999, By: service.ByRunTime, Spent: 499.5 * 3600, Limit: 500 * 3600, CalendarKnown: true}, Window: service.Window{Due: service.Forecast{
				Early: instant(time.Hour).Wall, Median: instant(2 * time.Hour).Wall, Late: instant(4 * time.Hour).Wall, By: service.ByRunTime,
			}}},
			{Task: "valves", Life: service.Life{Used: 0.25, By: service.ByStrokes, Spent: 5e6, Limit: 20e6}, Done: service.Done{Count: 1, At: instant(-time.Hour), By: "d.moss"}, Window: service.Window{Due: service.Forecast{Why: service.NoHistory}}, Places: []rules.PlaceView{
				{Position: pump.Position{Cylinder: 1, Side: pump.Suction}, Life: service.Life{Used: 0.25, By: service.ByStrokes}, Done: service.Done{Count: 1, At: instant(-time.Hour)}},
				{Position: pump.Position{Cylinder: 1, Side: pump.Discharge}, Life: service.Life{Used: 0.1, By: service.ByStrokes}},
			}},
			{Task: "look", Life: service.Life{CalendarKnown: true}},
		},
	}
}

// goldenPayloads gives one payload of each kind and their special cases.
func goldenPayloads() map[string][]byte {
	p, s := goldenPublisher(), goldenSnapshot()
	c := &connection{Publisher: p, begun: noon}
	p.topics = TopicsOf(p.Site.Name)
	return map[string][]byte{
		"event: lost flow":                p.eventPayload(lostFlow),
		"event: drive fault":              p.eventPayload(driveFault),
		"event: acknowledged":             p.eventPayload(acknowledged),
		"event: service recorded":         p.eventPayload(recorded),
		"event: of the site, no clock":    p.eventPayload(nothing),
		"alarm: raised and shelved":       p.alarmPayload("gp-2", &s.Alarms[0]),
		"alarm: never raised":             p.alarmPayload("gp-2", &s.Alarms[1]),
		"service":                         p.servicePayload(s),
		"telemetry":                       p.telemetryPayload(s),
		"status: online":                  c.statusPayload("online", ""),
		"status: the will":                c.statusPayload("offline", "connection_lost"),
		"result: refused before rules":    p.answer(context.Background(), "gp-2", arrival{payload: []byte(`{"command_id":"c-9","user":"r.night"}`)}),
		"result: of something unreadable": p.answer(context.Background(), "gp-2", arrival{payload: []byte("ack!")}),
	}
}

func TestPayloadsAreAsAgreed(t *testing.T) {
	const file = "testdata/payloads.txtar"
	got := &txtar.Archive{Comment: []byte("One payload of each kind, as a subscriber sees it, set out over lines.\n")}
	all := goldenPayloads()
	for _, name := range slices.Sorted(maps.Keys(all)) {
		var b bytes.Buffer
		if err := json.Indent(&b, all[name], "", "  "); err != nil {
			t.Fatal(err)
		}
		b.WriteByte('\n')
		got.Files = append(got.Files, txtar.File{Name: name, Data: b.Bytes()})
	}
	if *update {
		if err := os.WriteFile(file, txtar.Format(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(string(want), string(txtar.Format(got))); d != "" {
		t.Errorf("%s (-want +got):\n%s", file, d)
	}
}

func TestPayloadsFitTheirSchemas(t *testing.T) {
	for name, payload := range goldenPayloads() {
		t.Run(name, func(t *testing.T) {
			for _, problem := range fitsItsSchema(t, payload) {
				t.Error(problem)
			}
		})
	}
}

// fitsItsSchema validates a payload against the schema it names.
func fitsItsSchema(t testing.TB, payload []byte) []string {
	t.Helper()
	var named struct{ Schema string }
	if err := json.Unmarshal(payload, &named); err != nil {
		return []string{err.Error()}
	}
	return validate(t, loadSchema(t, named.Schema[len(root):]), payload)
}

func TestAnyEventFitsItsSchema(t *testing.T) {
	p := goldenPublisher()
	schema := loadSchema(t, "event")
	number := rapid.OneOf(rapid.Float64(), rapid.SampledFrom([]float64{math.NaN(), math.Inf(1), math.Inf(-1)}))
	quantities := rapid.Custom(func(t *rapid.T) *alarm.Quantity {
		return &alarm.Quantity{Value: number.Draw(t, "value"), Dimension: quantity.Dimension(rapid.IntRange(0, int(quantity.Mass)).Draw(t, "dimension"))}
	})
	rapid.Check(t, func(r *rapid.T) {
		e := Entry{Pump: rapid.String().Draw(r, "pump"), Stored: rapid.Bool().Draw(r, "stored")}
		e.Event = alarm.Event{
			Seq: rapid.Uint64Range(1, 1<<53).Draw(r, "seq"), Kind: alarm.Kind(rapid.IntRange(0, int(alarm.Refused)).Draw(r, "kind")), At: instant(0),
			Alarm: rapid.String().Draw(r, "alarm"), Occurrence: rapid.Uint64().Draw(r, "occurrence"), State: alarm.State(rapid.IntRange(0, int(alarm.LatchedAcknowledged)).Draw(r, "state")),
			Value: quantities.Draw(r, "value"), Limit: quantities.Draw(r, "limit"), Quality: drivers.Quality(rapid.IntRange(0, 2).Draw(r, "quality")),
			Comment: rapid.String().Draw(r, "comment"), Causes: []alarm.Cause{{Cause: "x", Cylinder: rapid.IntRange(0, 3).Draw(r, "cylinder"), Probability: rapid.Float64Range(0, 1).Draw(r, "probability")}},
		}
		if problems := validate(t, schema, p.eventPayload(e)); len(problems) > 0 {
			r.Fatal(problems)
		}
	})
}
