package page

import (
	"fmt"
	"slices"
	"time"

	"pumpside/drivers"
)

// busData is what does not change on the screen while it is open.
type busData struct {
	Views []sameView
}

// A sameView is the pumps whose signals see the same.
type sameView struct {
	Tags   string
	Sights []Sight
	Gaps   []Gap
}

// sameViews puts pumps together that see the same, in the order of the first.
func sameViews(pumps []Pump) (list []sameView) {
	for _, one := range pumps {
		i := slices.IndexFunc(list, func(v sameView) bool { return slices.Equal(v.Sights, one.Sights) && slices.Equal(v.Gaps, one.Gaps) })
		if i < 0 {
			list = append(list, sameView{one.Tag, one.Sights, one.Gaps})
			continue
		}
		list[i].Tags += ", " + one.Tag
	}
	return list
}

// busScreen answers, for the installer: does the line work, and why is this
// value wrong?
func busScreen(p *Page, _ ask, view View, v viewer) (*screen, error) {
	s := &screen{Title: "Bus", Nav: "bus", Body: "bus", Data: busData{sameViews(view.Pumps)}}
	s.add("agent", "agent", agentRows(v, &view))
	s.add("buses", "buses", busRows(v, &view, p.source.Buses()))
	return s, nil
}

// An agentRow is one fact about the agent itself.
type agentRow struct {
	Title, Value string
	Wrong        bool
}

func agentRows(v viewer, view *View) []agentRow {
	a := &view.Agent
	rows := []agentRow{
		{"Agent", a.Version, false},
		{"Configuration", a.ConfigHash, false},
		{"Started", v.Clock.second(a.Started), false},
		{"Clock", clockWords(view.At), !view.At.Synchronized},
		{"State file", storeWords(a), a.StoreErr != nil},
	}
	if a.Broker {
		rows = append(rows, agentRow{"Broker", brokerWords(a), !a.Connected})
	}
	return rows
}

func clockWords(at drivers.Instant) string {
	if at.Synchronized {
		return "set by a time source"
	}
	return "not set: times cannot be trusted, calendar intervals wait"
}

func storeWords(a *Agent) string {
	if a.StoreErr != nil {
		return "cannot be written: " + a.StoreErr.Error()
	}
	return fmt.Sprintf("written, %.1f MB", float64(a.StateBytes)/1e6)
}

func brokerWords(a *Agent) string {
	if a.Connected {
		return fmt.Sprintf("connected, %d waiting", a.Outbox)
	}
	return fmt.Sprintf("not reached, %d waiting", a.Outbox)
}

// A busRow is one line with its devices, in words.
type busRow struct {
	Bus, Address, Load, Late string
	Missed                   int
	Heavy                    bool // too busy to keep its beat for sure
	Devices                  []deviceRow
}

// heavy is the share of its time beyond which a bus has no room for repeats
// (common practice, no source).
const heavy = 0.7

// fewDevices is how many may show all their points at once.
const fewDevices = 4

type deviceRow struct {
	Device   string
	Unit     int
	State    string
	Wrong    bool
	Requests string
	Mean     string
	Failures []Failure
	Beats    string // how often it is read
	Points   []pointRow
	NotGood  int // points
	Open     bool
}

type pointRow struct {
	Point, Where, Type, Class string
	Words                     string
	Value                     figure
	Quality, Reason           string
	Bad                       bool
	Age                       string
}

func busRows(v viewer, view *View, buses []Bus) []busRow {
	devices := 0
	for _, b := range buses {
		devices += len(b.Devices)
	}
	few := devices <= fewDevices
	rows := make([]busRow, len(buses))
	for i, b := range buses {
		rows[i] = busRow{
			Bus: b.Bus, Address: b.Address, Load: percent(b.Load), Missed: b.Missed, Heavy: b.Load > heavy,
			Late: fixed(b.Late.Seconds()*1e3, 0),
		}
		for j := range b.Devices {
			row := deviceRowOf(v, view.At.Wall, &b.Devices[j])
			row.Open = few
			rows[i].Devices = append(rows[i].Devices, row)
		}
	}
	return rows
}

func deviceRowOf(v viewer, now time.Time, d *Device) deviceRow {
	row := deviceRow{
		Device: d.Device, Unit: d.Unit, State: "answers", Requests: whole(float64(d.Requests)), Mean: fixed(d.Mean*1e3, 1), Failures: d.Failures,
	}
	switch {
	case !d.Known:
		row.State, row.Wrong = "not asked yet", false
	case !d.Up:
		row.State, row.Wrong = "silent", true
	}
	row.Beats = beatWords(d)
	for i := range d.Points {
		point := pointRowOf(v, now, &d.Points[i])
		if point.Bad {
			row.NotGood++
		}
		row.Points = append(row.Points, point)
	}
	return row
}

// beatWords say how often a device is read.
func beatWords(d *Device) string {
	text := "read every " + span(d.Routine) + ", slow points every " + span(d.Slow)
	if d.FastFor > 0 {
		text += ", fast points for " + span(d.FastFor) + " every " + span(d.FastEvery) + " while the pump runs steadily"
	}
	return text
}

// span writes a length of time that may be less than a second.
func span(d time.Duration) string {
	if d < time.Second {
		return whole(float64(d.Milliseconds())) + " ms"
	}
	return ago(d)
}

func pointRowOf(v viewer, now time.Time, p *Point) pointRow {
	row := pointRow{
		Point: p.Point, Where: fmt.Sprintf("%s %d", p.Table, p.Address), Type: p.Type, Class: p.Class, Words: "none read",
		Quality: p.Quality.String(), Reason: spaced(p.Reason.String()), Bad: p.Quality != drivers.Good, Value: figure{Number: "--"},
	}
	if p.Order != "" {
		row.Type += " " + p.Order
	}
	if len(p.Words) > 0 {
		row.Words = ""
		for i, w := range p.Words {
			if i > 0 {
				row.Words += " "
			}
			row.Words += fmt.Sprintf("%04X", w)
		}
	}
	if p.Value != nil {
		s, _ := drivers.SignalNamed(p.Name)
		row.Value = showSignal(v.Units, s, p.Name, p.Dimension, *p.Value)
	}
	switch {
	case p.At.IsZero():
		row.Age = "never"
	default:
		row.Age = whole(max(now.Sub(p.At).Seconds(), 0)) + " s"
	}
	return row
}
