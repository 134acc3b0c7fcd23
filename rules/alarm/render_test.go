package alarm_test

import (
	"bytes"
	"flag"
	"math"
	"os"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/google/go-cmp/cmp"
	"github.com/rogpeppe/go-internal/txtar"

	"pumpside/drivers"
	"pumpside/drivers/quantity"
	"pumpside/rules/alarm"
)

var update = flag.Bool("update", false, "write the goldens anew")

// ridge is an invented site.
var ridge = alarm.Site{
	Name: "Ridge Site", Pump: "GP-2", Tag: "P-1002B", Location: "glycol building, second skid from the door",
	Hazards: "hot glycol; gas at contactor pressure", DriveFault: "F0034, motor overload", Tags: map[string]string{"gp-1": "GP-1", "gp-2": "GP-2"},
}

// limits are plausible limits, by signal and else by dimension.
var (
	limitOf = map[drivers.Signal]float64{
		drivers.SuctionPressure: 60e3, drivers.DischargePressure: 7e6, drivers.ContactorPressure: 6.8e6, drivers.StrainerDifferentialPressure: 35e3,
		drivers.FilterDifferentialPressure: 150e3, drivers.GasFlow: 12, drivers.SealLeak: 20e-6 / 3600, drivers.GlycolTemperature: 90, drivers.AmbientTemperature: 45,
		drivers.GasPressure: 6.8e6, drivers.GasTemperature: 35, drivers.MotorSpeed: 1500, drivers.HydraulicOilLevel: 0.4, drivers.GlycolLevel: 0.25,
	}
	limitBy = map[quantity.Dimension]float64{
		quantity.Temperature: 80, quantity.Length: 1, quantity.Flow: 20e-3 / 60, quantity.Speed: 400, quantity.Current: 30, quantity.Torque: 200,
		quantity.Power: 15e3, quantity.Share: 0.9, quantity.Duration: 30 * 24 * 3600, quantity.Frequency: 50, quantity.Volume: 1,
	}
	limitAt = map[string]float64{"store_slow": 2, "too_cold_to_pump": 10, "npsh_margin_low": 0, "glycol_temperature_low": 20, "hydraulic_oil_temperature_low": 15, "ambient_temperature_low": -20, "circulation_lost": 5e-3 / 60, "stopped_longer_than_usual": 3600}
)

// example gives a value beyond a plausible limit.
func example(d *alarm.Definition) (value, limit float64, ok bool) {
	limit, ok = limitBy[d.Dimension]
	if own, has := limitOf[d.Signal]; has && d.Dimension == d.Signal.Info().Dimension {
		limit, ok = own, true
	}
	if own, has := limitAt[d.Name]; has {
		limit = own
	}
	value = 1.06*limit + 0.02*math.Abs(limit)
	if strings.HasSuffix(d.Text, "_low") || strings.HasSuffix(d.Text, "lost") || strings.HasPrefix(d.Text, "no_flow") || d.Text == "failed_to_prime" || d.Text == "too_cold_to_pump" {
		value = limit - 0.12*math.Abs(limit)
	}
	switch {
	case strings.HasSuffix(d.Text, "_due"):
		value, limit = 1.02, 1
	case strings.HasSuffix(d.Text, "_overdue"):
		value, limit = 1.18, 1.1
	}
	if d.Text == "efficiency_impossible" {
		value, limit = 1.08, 1.05
	}
	if d.Text == "npsh_margin_low" {
		value = -0.4
	}
	if d.Text == "no_flow" || d.Text == "failed_to_prime" || d.Text == "circulation_lost" {
		value, limit = 0, 2e-4/60
	}
	return value, limit, ok
}

// everyEvent is one raise of every definition there is.
func everyEvent() []alarm.Event {
	var list []alarm.Event
	for _, d := range everyDefinition() {
		e := alarm.Event{
			Kind: alarm.Raised, At: at(time.Hour), Alarm: d.Name, Text: d.Text, Occurrence: 1, Class: d.Class, Priority: d.Priority, Responder: d.Responder, Notify: d.Notify,
			State: alarm.Unacknowledged, RaisedAt: at(time.Hour), TimeToRespond: d.TimeToRespond, Signal: d.Signal, Subject: d.Subject,
			Duration: 4 * time.Minute, DataAge: 5 * time.Second, Quality: drivers.Good,
			PumpRunning: alarm.Yes, Standby: "not_available", GasFlowing: alarm.Yes,
			LastService: "check_valves", LastServiceBy: "M. Example", SinceLastService: 1312 * time.Hour,
		}
		if d.Rule.By != alarm.ByState && d.Rule.By != alarm.ByQuality {
			if value, limit, ok := example(&d); ok {
				e.Value, e.Limit = &alarm.Quantity{Value: value, Dimension: d.Dimension}, &alarm.Quantity{Value: limit, Dimension: d.Dimension}
			}
		}
		list = append(list, dressed(e))
	}
	return append(list, spokenFor(list)...)
}

// spokenFor gives the calls of a group that speak for pumps too.
func spokenFor(list []alarm.Event) (calls []alarm.Event) {
	for _, e := range list {
		if e.Text != "circulation_lost" && e.Text != "circulation_short" {
			continue
		}
		e.Duration, e.Standby = time.Minute, "available"
		for _, one := range []struct {
			name   string
			alarms []string
			within time.Duration
		}{
			{"_no_flow", []string{"gp-2/no_flow"}, 30 * time.Minute},
			{"_unprimed", []string{"gp-2/failed_to_prime"}, 5 * time.Minute},
			{"_several", []string{"gp-1/no_flow", "gp-2/failed_to_prime"}, 5 * time.Minute},
		} {
			call := e
			call.Alarm, call.Alarms, call.TimeToRespond = e.Alarm+one.name, one.alarms, one.within
			calls = append(calls, call)
		}
	}
	return calls
}

// dressed gives some events the evidence their rules would add.
func dressed(e alarm.Event) alarm.Event {
	count := func(key string, n float64) []alarm.Evidence {
		return []alarm.Evidence{{Key: key, Quantity: alarm.Quantity{Value: n}}}
	}
	switch e.Text {
	case "short_cycling":
		e.Evidence = count("starts_in_hour", 9)
	case "drive_restarts":
		e.Evidence = count("restarts", 4)
	case "outbox_dropping":
		e.Evidence = count("dropped_messages", 1200)
	case "signal_bad":
		e.Quality, e.Reason = drivers.Bad, drivers.Frozen
	case "signal_rising", "signal_falling":
		e.Value, e.Limit = &alarm.Quantity{Value: 0.06, Dimension: quantity.Temperature}, &alarm.Quantity{Value: 0.05, Dimension: quantity.Temperature}
	case "signal_deviates_high", "signal_deviates_low":
		e.Value, e.Limit = &alarm.Quantity{Value: 12.4, Dimension: quantity.Temperature}, &alarm.Quantity{Value: 10, Dimension: quantity.Temperature}
	case "loss_in_one_head":
		e.Value, e.Limit = &alarm.Quantity{Value: 0.08, Dimension: quantity.Share}, nil
		e.Causes = []alarm.Cause{{Cause: "loss_in_discharge_half", Cylinder: 2, Probability: 0.81}, {Cause: "none_of_these", Probability: 0.19}}
	case "site_silent", "circulation_unseen", "pump_unseen":
		e.DataAge, e.Duration = 40*time.Minute, 40*time.Minute
		if e.Text == "circulation_unseen" {
			e.GasFlowing, e.Standby = alarm.Unknown, "unknown"
		}
	case "drive_fault":
		e.DriveFaultCode, e.PumpRunning = 34, alarm.No
	case "circulation_short":
		e.Value, e.Limit, e.Subject, e.Standby = &alarm.Quantity{Value: 20.6e-3 / 60, Dimension: quantity.Flow}, nil, "GP-1", "none"
		e.Evidence = append(count("pumps_delivering", 1), count("pumps_required", 2)...)
	case "circulation_lost":
		e.Limit = nil
		e.Evidence = append(count("pumps_delivering", 0), count("pumps_required", 1)...)
	case "circulation_low":
		e.Evidence = []alarm.Evidence{{Key: "circulation_needed", Quantity: *e.Limit}}
	case "head_failing":
		e.Value, e.Limit = &alarm.Quantity{Value: 0.68, Dimension: quantity.Share}, &alarm.Quantity{Value: 0.72, Dimension: quantity.Share}
	case "no_spare_left":
		e.Subject = "GP-2"
	case "group_reverse_flow":
		e.Subject, e.Evidence = "GP-1", count("pumps_backwards", 1)
	case "reverse_flow":
		e.PumpRunning = alarm.No
		e.Evidence = []alarm.Evidence{{Key: "suction_rise", Quantity: alarm.Quantity{Value: 180e3, Dimension: quantity.Pressure}}}
	case "too_cold_to_pump":
	case "power_lost", "stopped_unexplained", "stopped_by_permissive", "stopped_longer_than_usual":
		e.PumpRunning = alarm.No
	}
	return e
}

func everyDefinition() []alarm.Definition {
	x := 1.0
	var defs []alarm.Definition
	for _, name := range alarm.StandingNames() {
		if name != "signal_bad" && name != "device_silent" && name != "bus_down" && name != "pump_unseen" && name != "pump_power_lost" {
			defs = append(defs, alarm.Standing(name))
		}
	}
	for s := drivers.NoSignal + 1; s < drivers.SignalCount; s++ {
		if s.Info().Kind == drivers.Analog {
			defs = append(defs, alarm.SignalAlarms(alarm.SignalSettings{Signal: s, Low: &x, High: &x})...)
		}
	}
	defs = append(defs, alarm.SignalAlarms(alarm.SignalSettings{
		Signal: drivers.Auxiliary(0), Name: "still column top", Dimension: quantity.Temperature, Low: &x, High: &x, RisesFaster: &x, FallsFaster: &x, Against: drivers.GlycolTemperature, Above: &x, Below: &x, State: &x,
	})...)
	off := 0.0
	defs = append(defs, alarm.SignalAlarms(alarm.SignalSettings{Signal: drivers.Permissive, State: &off})...)
	defs = append(defs, alarm.SignalBad(drivers.DischargePressure, ""), alarm.About("device_silent", "drive of GP-2"), alarm.About("bus_down", "rs485-1"), alarm.About("pump_unseen", "gp-1"), alarm.About("pump_power_lost", "gp-1"))
	defs = append(defs, alarm.ServiceAsked("check valves"))
	for _, task := range []string{alarm.RunInOil, "check valves"} {
		defs = append(defs, alarm.ServiceAlarms(task)...)
	}
	for _, d := range defs {
		if d.WorseText != "" {
			d.Name, d.Text, d.Priority = d.Name+"_worse", d.WorseText, d.WorsePriority
			defs = append(defs, d)
		}
	}
	slices.SortFunc(defs, func(a, b alarm.Definition) int { return strings.Compare(a.Name, b.Name) })
	return defs
}

// siteFor takes the pump's name off what is about the site or a group.
func siteFor(e *alarm.Event) alarm.Site {
	site := ridge
	d := alarm.Event{Alarm: e.Alarm}
	for _, defs := range [][]alarm.Definition{alarm.GroupAlarms(nil), alarm.SiteAlarms(nil), {alarm.Standing("site_silent")}} {
		for _, def := range defs {
			if def.Name == d.Alarm || def.WorseText != "" && def.WorseText == e.Text || len(e.Alarms) > 0 && e.Kind != alarm.Summary || e.Text == "device_silent" || e.Text == "bus_down" || strings.HasPrefix(e.Text, "pump_") && e.Subject != "" {
				site.Pump, site.Tag, site.Location, site.DriveFault = "", "", "", ""
			}
		}
	}
	if e.Text != "drive_fault" {
		site.DriveFault = ""
	}
	return site
}

// The golden is every alert as a phone shows it, to be read aloud by a person.
func TestWholeCatalogueOnAPhone(t *testing.T) {
	var archive txtar.Archive
	archive.Comment = []byte("Every alert as a phone shows it. Read it aloud before you change it: go test ./rules/alarm -update\n\n")
	for _, e := range everyEvent() {
		site := siteFor(&e)
		if site.Pump == "" {
			e.LastService, e.PumpRunning = "", alarm.Unknown
		}
		archive.Files = append(archive.Files, txtar.File{Name: e.Alarm, Data: []byte(alarm.Render(e, site).String())})
	}
	golden(t, "testdata/phone.txtar", &archive)
}

// The golden has the other entries of the journal: what follows a raise, and
// records.
func TestJournalInWords(t *testing.T) {
	var archive txtar.Archive
	archive.Comment = []byte("Entries of the journal that call nobody: go test ./rules/alarm -update\n\n")
	add := func(name string, e alarm.Event) {
		archive.Files = append(archive.Files, txtar.File{Name: name, Data: []byte(alarm.Render(e, siteFor(&e)).String())})
	}
	base := alarm.Event{Alarm: "no_flow", Text: "no_flow", Class: alarm.Alarm, Priority: alarm.High, State: alarm.Acknowledged, Quality: drivers.Good, Signal: drivers.GlycolFlow}
	for k := alarm.Raised; k <= alarm.Escalated; k++ {
		if k == alarm.Summary || k == alarm.Recorded || k == alarm.ServiceRecorded {
			continue
		}
		e := base
		e.Kind, e.Duration, e.User, e.Comment = k, 8*time.Hour, "M. Example", "strainer at hand tomorrow"
		switch k {
		case alarm.Raised, alarm.Worsened, alarm.Suppressed:
			e.SuppressedBy, e.Duration, e.Comment = alarm.ColdStart|alarm.AfterService, 4*time.Minute, ""
		case alarm.Escalated:
			e.TimeToRespond, e.Escalation, e.Unanswered, e.Duration = 30*time.Minute, 1, 15*time.Minute, 19*time.Minute
			e.State, e.PumpRunning, e.Standby, e.GasFlowing, e.User, e.Comment = alarm.Unacknowledged, alarm.Yes, "not_available", alarm.Yes, "", ""
		case alarm.Refused:
			e.Refusal = "no_flow is normal: there is nothing to acknowledge"
		}
		add(k.String(), e)
	}
	add("signal cleared", alarm.Event{Kind: alarm.Cleared, Alarm: "still_column_top_high", Text: "signal_high", Class: alarm.Alarm, Signal: drivers.Auxiliary(0), Subject: "still column top", Duration: 90 * time.Minute, Quality: drivers.Good})
	add("unshelved and still there", func() alarm.Event {
		e := everyEvent()[slices.IndexFunc(everyEvent(), func(e alarm.Event) bool { return e.Alarm == "no_flow" })]
		e.Kind = alarm.Unshelved
		return e
	}())
	add("summary", alarm.Event{
		Kind: alarm.Summary, Alarm: alarm.FloodText, Text: alarm.FloodText, Class: alarm.Alarm, Priority: alarm.High, TimeToRespond: 15 * time.Minute, Quality: drivers.Good, PumpRunning: alarm.No,
		Alarms: []string{"reverse_flow", "drive_fault", "glycol_flow_bad"}, Evidence: []alarm.Evidence{{Key: "withheld_notices", Quantity: alarm.Quantity{Value: 4}}},
	})
	for _, key := range alarm.Keys() {
		text, _ := alarm.TextOf(key)
		if text.Respond == 0 {
			add(key, record(key))
		}
	}
	add("a key this version does not know", record("moon_phase"))
	golden(t, "testdata/journal.txtar", &archive)
}

func record(key string) alarm.Event {
	kind := alarm.Recorded
	if key == "service_recorded" {
		kind = alarm.ServiceRecorded
	}
	e := alarm.Event{Kind: kind, Alarm: key, Text: key, Class: alarm.Record, Quality: drivers.Good}
	seconds := func(key string, s float64) {
		e.Evidence = append(e.Evidence, alarm.Evidence{Key: key, Quantity: alarm.Quantity{Value: s, Dimension: quantity.Duration}})
	}
	switch {
	case strings.HasPrefix(key, "service_"), strings.HasPrefix(key, "task_"):
		e.Subject, e.User = "check valves", "M. Example"
	case strings.HasPrefix(key, "meter_"):
		e.Subject = "drive_run_hours"
		e.Evidence = []alarm.Evidence{{Key: "meter_before", Quantity: alarm.Quantity{Value: 65535 * 3600}}, {Key: "meter_after", Quantity: alarm.Quantity{Value: 12 * 3600}}}
	case strings.HasPrefix(key, "gap_"), strings.HasPrefix(key, "pump_"), key == "running_resolved":
		seconds("lasted", 5*3600)
		if key == "gap_closed" {
			seconds("credited_run_time", 4*3600)
			e.Evidence = append(e.Evidence, alarm.Evidence{Key: "reckoned_strokes", Quantity: alarm.Quantity{Value: 72000}})
		}
	case key == "finding_began", key == "finding_passed":
		e.Causes = []alarm.Cause{{Cause: "suction_strainer_plugging", Probability: 0.7}}
	case key == "finding_grows":
		e.Causes = []alarm.Cause{{Cause: "loss_in_suction_half", Cylinder: 2, Probability: 0.8}}
		for i, share := range []float64{0.04, 0.07} {
			name := []string{"leak_began_at", "leak_grown_to"}[i]
			e.Evidence = append(e.Evidence, alarm.Evidence{Key: name, Quantity: alarm.Quantity{Value: share, Dimension: quantity.Share}})
		}
		seconds("leak_grown_in", 9*86400)
	case key == "alarm_vanished":
		e.Subject = "still_column_top_high"
	case key == "duty_changed":
		e.Subject = "GP-1"
	case key == "device_back":
		e.Subject = "drive of GP-2"
	case key == "counter_corrected":
		e.Subject, e.Value = "run hours", &alarm.Quantity{Value: 4120 * 3600, Dimension: quantity.Duration}
	case key == "electrical_work":
		e.Subject = "motor cable renewed"
	}
	return e
}

func golden(t *testing.T, file string, got *txtar.Archive) {
	t.Helper()
	text := txtar.Format(got)
	if *update {
		if err := os.WriteFile(file, text, 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(text, want) {
		t.Errorf("%s (-want +got):\n%s", file, cmp.Diff(string(want), string(text)))
	}
}

func TestHeadline(t *testing.T) {
	lost := alarm.Event{
		Kind: alarm.Raised, Alarm: "no_flow", Text: "no_flow", Class: alarm.Alarm, Priority: alarm.High, TimeToRespond: 30 * time.Minute, Duration: 4 * time.Minute,
		DataAge: 5 * time.Second, PumpRunning: alarm.Yes, Standby: "not_available", GasFlowing: alarm.Yes, State: alarm.Unacknowledged, Quality: drivers.Good,
	}
	long := alarm.Site{Name: "Northern Ridge Gathering and Dehydration Site Number Fourteen", Pump: "GP-2"}
	with := func(change func(*alarm.Event)) alarm.Event {
		e := lost
		change(&e)
		return e
	}
	tests := []struct {
		name string
		e    alarm.Event
		site alarm.Site
		want string
	}{
		{"everything fits", lost, alarm.Site{Name: "Site", Pump: "GP-2"}, "[HIGH] Site, GP-2: no glycol flow 4 min. Pump RUNNING, standby NOT available, gas flowing. Act in 30 min. Data 5 s old."},
		{"the word data goes first", lost, ridge, "[HIGH] Ridge Site, GP-2: no glycol flow 4 min. Pump RUNNING, standby NOT available, gas flowing. Act in 30 min. 5 s old."},
		{"old data stays longer", with(func(e *alarm.Event) { e.DataAge = 20 * time.Minute }), alarm.Site{Name: "Ridge Site North", Pump: "GP-2"}, "[HIGH] Ridge Site North, GP-2: no glycol flow 4 min. RUNNING, NO standby, gas on. Act in 30 min. 20 min old."},
		{"a long site name is cut last", lost, long, "[HIGH] Northern Ridge Ga…, GP-2: no glycol flow. RUNNING, NO standby, gas on. Act in 30 min."},
		{"unknown is said", with(func(e *alarm.Event) { e.PumpRunning, e.Standby, e.GasFlowing = alarm.Unknown, "", alarm.Unknown }), ridge, "[HIGH] Ridge Site, GP-2: no glycol flow 4 min. Pump state unknown, standby unknown, gas unknown. Act in 30 min. 5 s old."},
		{"worse", with(func(e *alarm.Event) { e.Kind = alarm.Worsened }), alarm.Site{Name: "A", Pump: "B"}, "[HIGH] A, B: WORSE: no glycol flow 4 min. Pump RUNNING, standby NOT available, gas flowing. Act in 30 min. Data 5 s old."},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got := alarm.Render(tt.e, tt.site).Headline
			if got != tt.want || utf8.RuneCountInString(got) > 120 {
				t.Errorf("headline of %d characters\n got %s\nwant %s", utf8.RuneCountInString(got), got, tt.want)
			}
		})
	}
}

func TestFigures(t *testing.T) {
	q := func(x float64, d quantity.Dimension) alarm.Quantity { return alarm.Quantity{Value: x, Dimension: d} }
	tests := []struct {
		q      alarm.Quantity
		metric string
		field  string
	}{
		{q(9_997_398.075, quantity.Pressure), "9997 kPa", "1450 psi"},
		{q(0, quantity.Flow), "0.0 L/min", "0.0 gpm"},
		{q(-1e-9, quantity.Flow), "0.0 L/min", "0.0 gpm"},
		{q(20e-3/60, quantity.Flow), "20.0 L/min", "5.3 gpm"},
		{q(100, quantity.Temperature), "100 °C", "212 °F"},
		{q(0.92, quantity.Share), "92 %", "92 %"},
		{q(500*3600, quantity.Duration), "500 h", "500 h"},
		{q(90, quantity.Duration), "90 s", "90 s"},
		{q(1800, quantity.Duration), "30 min", "30 min"},
		{q(7, quantity.None), "7", "7"},
		{q(7456.998715822702, quantity.Power), "7.5 kW", "10.0 hp"},
	}
	for _, tt := range tests {
		if m, f := alarm.Metric.Figure(tt.q), alarm.Field.Figure(tt.q); m != tt.metric || f != tt.field {
			t.Errorf("%v: %q and %q, want %q and %q", tt.q, m, f, tt.metric, tt.field)
		}
	}
}

func TestValueAndLimitNeverReadAlikeWhenTheyDiffer(t *testing.T) {
	e := alarm.Event{
		Kind: alarm.Raised, Alarm: "x", Text: "discharge_pressure_high", Class: alarm.Alarm, Quality: drivers.Good, Signal: drivers.DischargePressure,
		Value: &alarm.Quantity{Value: 7_000_040, Dimension: quantity.Pressure}, Limit: &alarm.Quantity{Value: 7e6, Dimension: quantity.Pressure},
	}
	if got := alarm.Render(e, ridge).Evidence; !equal(got, []string{"discharge pressure 7000.04 kPa, limit 7000.00 kPa"}) {
		t.Errorf("%q", got)
	}
}

func TestDifferencesOfTemperatureHaveNoZero(t *testing.T) {
	field := ridge
	field.Units = alarm.Field
	e := alarm.Event{
		Kind: alarm.Raised, Alarm: "x", Text: "signal_deviates_high", Class: alarm.Alarm, Quality: drivers.Good, Signal: drivers.GlycolTemperature,
		Value: &alarm.Quantity{Value: 10, Dimension: quantity.Temperature}, Limit: &alarm.Quantity{Value: 5, Dimension: quantity.Temperature},
	}
	if got := alarm.Render(e, field).Headline; !strings.Contains(got, "off its partner by 18 °F, limit 9 °F") {
		t.Errorf("difference: %s", got)
	}
	e.Text, e.Value.Value, e.Limit.Value = "signal_rising", 0.05, 0.025
	if got := alarm.Render(e, field).Headline; !strings.Contains(got, "rises FAST: 5.4 °F per minute, limit 2.7 °F") {
		t.Errorf("rate: %s", got)
	}
}

func TestSpan(t *testing.T) {
	tests := []struct {
		d    time.Duration
		want string
	}{
		{0, "0 s"},
		{59 * time.Second, "59 s"},
		{4*time.Minute + 30*time.Second, "4 min"},
		{90 * time.Minute, "1 h 30 min"},
		{24 * time.Hour, "24 h"},
		{7 * 24 * time.Hour, "7 days"},
		{75 * time.Hour, "3 days 3 h"},
	}
	for _, tt := range tests {
		if got := alarm.Span(tt.d); got != tt.want {
			t.Errorf("Span(%v) = %q, want %q", tt.d, got, tt.want)
		}
	}
}

func TestARefusalIsToldToItsEnd(t *testing.T) {
	long := "the agent's clock is not set, so it cannot tell when that was: record it without a time, or set the gateway's clock"
	for _, tt := range []struct{ name, headline, refusal, want string }{
		{"a short one stands in the headline", "[REFUSED] Ridge Station 7: it is normal.", "it is normal", "[REFUSED] Ridge Station 7: it is normal."},
		{"a long one takes the place of its beginning", "[REFUSED] Ridge Station 7: service record: the agent's clock is not…", long, "[REFUSED] Ridge Station 7: service record: " + long + "."},
		{"one that had no room at all follows", "[REFUSED] Ridge Station 7: service record…", long, "[REFUSED] Ridge Station 7: service record… " + long + "."},
		{"no refusal, no change", "[CLEARED] Ridge Station 7: no flow.", "", "[CLEARED] Ridge Station 7: no flow."},
	} {
		e := alarm.Event{Refusal: tt.refusal}
		if got := e.Whole(tt.headline); got != tt.want {
			t.Errorf("%s:\n%s, want\n%s", tt.name, got, tt.want)
		}
	}
}
