package page_test

import (
	"context"
	"errors"
	"io"
	"math"
	"net/http/httptest"
	"path/filepath"
	"slices"
	"sync"
	"testing"
	"time"

	"pumpside/drivers"
	"pumpside/drivers/quantity"
	"pumpside/exporter/page"
	"pumpside/rules"
	"pumpside/rules/alarm"
	"pumpside/rules/diagnosis"
	"pumpside/rules/report"
	"pumpside/rules/service"
	"pumpside/rules/site"
	"pumpside/rules/trend"
)

// noon is when everything in these tests happens.
var noon = time.Date(2026, 3, 1, 19, 0, 0, 0, time.UTC)

func instant(after time.Duration) drivers.Instant {
	return drivers.Instant{Wall: noon.Add(after), Boot: "a", SinceBoot: 100*time.Hour + after, Synchronized: true}
}

// A fakeSource is a site that stands still until a test moves it.
type fakeSource struct {
	mu      sync.Mutex
	view    page.View
	journal []page.Entry
	orders  []drivers.Command
	to      []string // pump of each order
	watched []string
	refuse  string
	broken  error // why the journal cannot be read
	records int
}

func (f *fakeSource) View() page.View {
	f.mu.Lock()
	defer f.mu.Unlock()
	v := f.view
	v.Pumps = slices.Clone(v.Pumps)
	return v
}

// change replaces a pump's snapshot by a changed copy, as the engine does.
func (f *fakeSource) change(pump int, do func(*rules.Snapshot)) {
	f.mu.Lock()
	defer f.mu.Unlock()
	s := *f.view.Pumps[pump].Snapshot
	s.Signals, s.Alarms, s.Tasks = slices.Clone(s.Signals), slices.Clone(s.Alarms), slices.Clone(s.Tasks)
	do(&s)
	f.view.Pumps[pump].Snapshot = &s
}

func (f *fakeSource) Buses() []page.Bus {
	value := 7.2e6
	return []page.Bus{{
		Bus: "bus-1", Address: "tcp 192.0.2.7:502", Load: 0.31, Missed: 2, Late: 12 * time.Millisecond,
		Devices: []page.Device{{
			Device: "module", Unit: 2, Known: true, Up: true, Requests: 12345, Mean: 0.0042, Routine: time.Second, Slow: 30 * time.Second, FastFor: 20 * time.Second, FastEvery: 5 * time.Minute, Failures: []page.Failure{{Reason: "timeout", Count: 3}},
			Points: []page.Point{
				{
					Point: "p2", Table: "holding", Address: 107, Type: "float32", Order: "CDAB", Class: "fast", Words: []uint16{0x9ECB, 0x45DA}, Value: &value,
					Dimension: quantity.Pressure, Name: "discharge_pressure", Quality: drivers.Good, At: noon.Add(-2 * time.Second),
				},
				{Point: "t1", Table: "input", Address: 9, Type: "int16", Class: "slow", Words: []uint16{}, Dimension: quantity.Temperature, Reason: drivers.Timeout},
			},
		}},
	}}
}

func (f *fakeSource) Report(_ context.Context, span time.Duration) (*report.Report, error) {
	if f.broken != nil {
		return nil, f.broken
	}
	return &report.Report{
		Title: "Ridge Station 7", At: noon, Since: noon.Add(-span),
		Needs: []report.Need{{Pump: "gp-1", Tag: "GP-1", Urgency: report.Now, By: "control_room", Kit: []string{"strainer element"}}, {Urgency: report.ThisWeek, By: "automation"}},
		Pumps: []report.Pump{
			{Pump: "gp-1", Tag: "GP-1", Mode: rules.Running, ForSeconds: new(3 * 3600.0), Wanted: alarm.Yes, Run: new(11.5), Starts: new(2.0), Pumped: new(15.4), TotalRun: 12345.6},
			{Pump: "gp-2", Tag: "GP-2", Mode: rules.StandingInHand, Restarts: 3, TotalRun: 200},
		},
		Groups: []report.Group{{
			Group: "train-a", Title: "Train A", Moves: alarm.No, Wanted: alarm.Yes, Required: 1, Spare: drivers.StandbyNotAvailable,
			Flow: new(22.5), Target: new(25.0), TargetBy: "gas", Circulated: new(14.0), Needed: new(36.0), Share: new(0.39), Energy: new(84.0), Cost: new(11.76), ExcessHeat: new(0.4), Lost: 2, LostFor: 1200,
		}},
		Silent:      []string{"module"},
		Performance: report.Performance{Alarms: 1, Advisories: 2, Calls: 2, NightCalls: 1, Escalated: 1, PerPumpMonth: new(15.2), Standing: 3, Stale: 1, Unseen: 1, Acknowledge: new(240.0)},
	}, nil
}

func (f *fakeSource) Plan() page.Plan {
	return page.Plan{
		Until: noon.AddDate(0, 3, 0),
		Visits: []page.Visit{{
			On: noon.AddDate(0, 0, 9), Work: 90 * time.Minute, Opens: true, Oil: 2.5,
			Pumps: []page.VisitPump{{Pump: "gp-1", Bring: []string{"oil 2.5 L"}, Tools: []string{"drain pan"}, Jobs: []page.Job{{Pump: "gp-1", Task: "oil", Used: 0.93, Due: noon.AddDate(0, 0, 9), Steps: []string{"drain warm"}}}}},
		}},
		Undated: []page.Job{{Pump: "gp-2", Task: "oil", Used: 0.93}},
	}
}

func (f *fakeSource) Sheet(w io.Writer) error {
	_, err := io.WriteString(w, "<!DOCTYPE html><title>Visit sheet</title><style>p { margin: 0 }</style><p>Isolation point</p>")
	return err
}

func (f *fakeSource) Watch(pump string) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.watched = append(f.watched, pump)
}

func (f *fakeSource) Names(pump string, _ *alarm.Event) alarm.Site {
	s := alarm.Site{Name: "Ridge Station 7"}
	for _, one := range f.view.Pumps {
		if one.ID == pump {
			s.Pump = one.Tag
		}
	}
	return s
}

func (f *fakeSource) Journal(_ context.Context, q page.JournalQuery) ([]page.Entry, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.broken != nil {
		return nil, f.broken
	}
	var list []page.Entry
	for _, e := range slices.Backward(f.journal) {
		if (q.Pump == "" || q.Pump == e.Pump) && (!q.Own || e.Pump == "") && (q.Alarm == "" || q.Alarm == e.Event.Alarm) && !e.Event.At.Wall.Before(q.Since) && len(list) < q.Limit {
			list = append(list, e)
		}
	}
	return list, nil
}

func (f *fakeSource) Trend(_ context.Context, q page.TrendQuery) ([]trend.Point, error) {
	if q.Signal != "discharge_pressure" {
		return nil, nil
	}
	return []trend.Point{
		{At: q.From, Span: time.Minute, Min: 6.9e6, Mean: 7.1e6, Max: 7.3e6},
		{At: q.From.Add(time.Minute), Span: time.Minute, Min: 7e6, Mean: 7.25e6, Max: 7.5e6},
	}, nil
}

// Do acknowledges and shelves as the rules would, and journals.
func (f *fakeSource) Do(_ context.Context, pump string, c drivers.Command) (*alarm.Event, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.orders, f.to = append(f.orders, c), append(f.to, pump)
	if c.Comment == "the agent stops" {
		return nil, errors.New("the agent is stopping")
	}
	e := &alarm.Event{At: instant(0), Alarm: c.Alarm, Text: "glycol_flow_lost", User: c.User, Comment: c.Comment, CommandID: c.ID, Kind: alarm.AcknowledgedBy}
	if f.refuse != "" {
		e.Kind, e.Refusal = alarm.Refused, f.refuse
	}
	if c.Verb == drivers.RecordService {
		e.Kind, e.Alarm, e.Text, e.Subject = alarm.ServiceRecorded, "service_recorded", "service_recorded", c.Task
		f.records++
		e.Service = &drivers.ServiceRecord{Pump: pump, Number: f.records, User: c.User, At: instant(0), Entry: drivers.ServiceEntry{Task: c.Task, Note: c.Comment, Action: "done"}}
		if c.Service != nil {
			e.Service.Entry.Found, e.Service.Entry.Undoes = c.Service.Found, c.Service.Undoes
		}
	}
	for i := range f.view.Pumps {
		if f.view.Pumps[i].ID != pump {
			continue
		}
		s := *f.view.Pumps[i].Snapshot
		s.Seq++
		e.Seq = s.Seq
		s.Alarms, s.Tasks = slices.Clone(s.Alarms), slices.Clone(s.Tasks)
		for k := range s.Alarms {
			if s.Alarms[k].Name == c.Alarm && c.Verb == drivers.Acknowledge && f.refuse == "" {
				s.Alarms[k].State = alarm.Acknowledged
			}
		}
		for k := range s.Tasks {
			if s.Tasks[k].Task == c.Task {
				s.Tasks[k].Life.Used, s.Tasks[k].Life.Spent, s.Tasks[k].Status = 0, 0, service.InLife
			}
		}
		f.view.Pumps[i].Snapshot = &s
	}
	f.journal = append(f.journal, page.Entry{Pump: pump, Event: e})
	return e, nil
}

// newSource is a site of two pumps: GP-1 has lost its flow, GP-2 is well.
func newSource() *fakeSource {
	denver, err := time.LoadLocation("America/Denver")
	if err != nil {
		panic(err)
	}
	plate := func(id, tag string) *page.Plate {
		return &page.Plate{
			ID: id, Tag: tag, Location: "pump house", Hazards: []string{"hot glycol"}, Cylinders: 3, Cylinder1: "nearest the coupling", NamesCylinders: id == "gp-1",
			Titles: map[string]string{"oil": "oil change"}, Parts: map[string]string{"oil": "oil 2.5 L"},
			Bands: map[string]page.Band{"discharge_pressure": {Low: new(4e6), High: new(8.5e6), ScaleLow: new(0.0), ScaleHigh: new(16e6)}},
			Sights: []page.Sight{
				{Failure: "even wear of all heads", Words: "from 2 % of all flow in 30 min", Seen: true},
				{Failure: "which head", Words: "not seen", Advice: "an index on the shaft"},
			},
			Gaps: []page.Gap{{Wanted: "diaphragm_leak", Cost: "a failed diaphragm shows only in the oil"}},
		}
	}
	snapshot := func(id string) *rules.Snapshot {
		return &rules.Snapshot{
			Pump: id, At: instant(0), Running: alarm.Yes, For: 3 * time.Hour, Observed: true, Seq: 7,
			Totals: rules.Totals{RunSeconds: 12_345.6 * 3600, Revolutions: 98_765_432, DischargeStrokes: 296_296_296, Starts: 412, PumpedVolume: 1234, Energy: 3.6e9},
			Signals: []rules.SignalView{
				{Signal: drivers.DischargePressure, Name: "discharge_pressure", Dimension: quantity.Pressure, Value: 7.2e6, Quality: drivers.Good, At: instant(0), GoodAt: instant(0)},
				{Signal: drivers.GlycolFlow, Name: "glycol_flow", Dimension: quantity.Flow, Value: 99, Quality: drivers.Bad, Reason: drivers.Timeout, At: instant(0), GoodAt: instant(-5 * time.Minute)},
				{Signal: drivers.ControlPower, Name: "control_power", Value: 1, Quality: drivers.Good, At: instant(0), GoodAt: instant(0)},
			},
			Tasks: []rules.TaskView{{Task: "oil", Status: service.DueSoon, Life: service.Life{Used: 0.93, By: service.ByRunTime, Spent: 1860 * 3600, Limit: 2000 * 3600, CalendarKnown: true}}},
			Alarms: []alarm.View{
				{Name: "no_flow", Text: "no_flow", Class: alarm.Alarm, Priority: alarm.High},
				{Name: "oil_service_due", Text: "service_due_soon", Class: alarm.Advisory, Priority: alarm.Low},
			},
		}
	}
	f := &fakeSource{view: page.View{
		At:    instant(0),
		Site:  page.Site{ID: "ridge-7", Title: "Ridge Station 7", Zone: denver, Groups: map[string]string{"train-a": "Train A"}, Currency: "EUR"},
		Pumps: []page.Pump{{Plate: plate("gp-2", "GP-2"), Snapshot: snapshot("gp-2")}, {Plate: plate("gp-1", "GP-1"), Snapshot: snapshot("gp-1")}},
		Own:   &site.Snapshot{At: instant(0), Seq: 3, Groups: []site.GroupView{{Group: "train-a", Pumps: 2, Required: 1, Delivering: 1, Moves: alarm.Yes, Wanted: alarm.Yes}}},
		Agent: page.Agent{Version: "1.0.0", ConfigHash: "0123456789ab", Started: noon.Add(-time.Hour), Broker: true, Connected: true},
	}}
	raised := &alarm.Event{
		Seq: 7, Kind: alarm.Raised, At: instant(-10 * time.Minute), Alarm: "no_flow", Text: "no_flow", Occurrence: 1, Class: alarm.Alarm, Priority: alarm.High,
		Responder: alarm.ControlRoom, Notify: alarm.Now, State: alarm.Unacknowledged, RaisedAt: instant(-10 * time.Minute), PumpRunning: alarm.Yes, Quality: drivers.Good,
		Causes: []alarm.Cause{{Cause: "loss_in_discharge_half", Cylinder: 2, Probability: 0.72}, {Cause: "none_of_these", Probability: 0.2}},
	}
	f.change(0, func(s *rules.Snapshot) {
		s.Condition = &rules.ConditionView{Learned: true, Blocks: 40, Efficiency: rules.Number{Known: true, Value: 0.934}, Waveform: turned(rules.ZeroRipple, 0), Orders: []rules.OrderView{
			{Order: 3, Amplitude: 1e5, Sigma: 100, Now: &rules.VectorView{Amplitude: 1e5}, Learned: &rules.VectorView{Amplitude: 1e5}},
		}}
		s.LeakDown = &rules.LeakDownView{Stops: 5, Newest: 0.12, Usual: 0.08}
	})
	f.change(1, func(s *rules.Snapshot) {
		s.Condition = &rules.ConditionView{
			Learned: true, Blocks: 60, Changed: []string{"discharge_order_1"}, Since: instant(-7 * time.Hour), Visit: true, Causes: raised.Causes,
			Leak: diagnosis.Size{Low: 0.03, Middle: 0.05, High: 0.08}, Waveform: turned(rules.ZeroCylinder1, 2e4), Orders: []rules.OrderView{
				{Order: 1, Amplitude: 2e4, Sigma: 300, Now: &rules.VectorView{Amplitude: 2e4, Degrees: 90}, Learned: &rules.VectorView{Amplitude: 2e4, Degrees: -90}, Moved: true},
				{Order: 3, Amplitude: 1e5, Sigma: 100, Now: &rules.VectorView{Amplitude: 1e5}, Learned: &rules.VectorView{Amplitude: 1e5}},
			},
		}
		s.Repair = &rules.RepairView{Record: 3, Task: "oil", At: instant(-30 * 24 * time.Hour), Verdict: "not_repaired"}
		s.Score, s.OilUse = service.Score{Place: 3, Wrong: 1}, &service.OilUse{Before: 0.8, Lately: 1.3, Rising: true}
		a := &s.Alarms[0]
		a.State, a.RaisedAt, a.ChangedAt, a.Occurrence, a.Last = alarm.Unacknowledged, raised.At, raised.At, 1, raised
	})
	f.journal = []page.Entry{{Pump: "gp-1", Event: raised}}
	return f
}

// turned is a triplex's ripple of 0.1 MPa, with so much once a turn on top now.
func turned(zero string, once float64) *rules.WaveformView {
	w := &rules.WaveformView{Zero: zero, Mean: 7.2e6, Orders: []int{1, 3}}
	for i := range 24 { // the agent has three times as many
		angle := 2 * math.Pi * (float64(i) + 0.5) / 24
		learned := math.Round(1e5 * math.Cos(3*angle))
		now := learned + math.Round(once*math.Cos(angle))
		w.Learned, w.Now, w.Read = append(w.Learned, float32(learned)), append(w.Now, float32(now)), append(w.Read, float32(now+1e3))
	}
	return w
}

// The people of these tests, and their passwords.
var people = map[string]page.Role{"vera": page.Viewer, "olaf": page.Operator, "tess": page.Technician}

const password = "seven-long-pipes"

// serve gives a page over a source, on a loopback address.
func serve(t testing.TB, f *fakeSource, change func(*page.Settings)) (*httptest.Server, string) {
	t.Helper()
	users := filepath.Join(t.TempDir(), "users")
	set := page.Settings{Loopback: true, UsersFile: users}
	if change != nil {
		change(&set)
	}
	p, err := page.New(set, f)
	if err != nil {
		t.Fatal(err)
	}
	s := httptest.NewServer(p.Handler())
	t.Cleanup(s.Close)
	return s, users
}
