package mqtt

import (
	"math"
	"time"

	"pumpside/rules"
	"pumpside/rules/service"
)

// A ServicePayload is how much of each service interval of a pump is used, and
// when it will be; retained, and sent again when a share moved by a thousandth
// or a date by a day.
type ServicePayload struct {
	Origin
	At          *string       `json:"at"`
	Tag         *string       `json:"tag"`
	RunH        *float64      `json:"run_h"`         // hours the pump has run
	NextVisitAt *string       `json:"next_visit_at"` // the first median due date; null: none can be told
	Tasks       []TaskPayload `json:"tasks"`
}

// A TaskPayload is the life of one service task.
type TaskPayload struct {
	Task          string   `json:"task"`
	Status        string   `json:"status"`
	UsedRatio     *float64 `json:"used_ratio"` // 1 is due
	DecidedBy     *string  `json:"decided_by"` // the measure used most
	Spent         *float64 `json:"spent"`
	Limit         *float64 `json:"limit"`
	Unit          *string  `json:"unit"` // of spent and limit: h, strokes
	CalendarKnown bool     `json:"calendar_known"`
	DoneAt        *string  `json:"done_at"` // null: never recorded
	DoneBy        *string  `json:"done_by"`

	// When it falls due with a chance of 10, 50 and 90 %; null: beyond three
	// years, or no forecast, and then why.
	Due10      *string `json:"due_10_at"`
	Due50      *string `json:"due_50_at"`
	Due90      *string `json:"due_90_at"`
	DueBy      *string `json:"due_by"`
	NoForecast *string `json:"no_forecast"`
	AtLatest   bool    `json:"at_the_latest"` // another measure cannot be forecast: it may be sooner

	Places []PlacePayload `json:"places"` // of a task whose places are counted apart
}

// A PlacePayload is the life of a check valve, or of what a cylinder has one of.
type PlacePayload struct {
	Cylinder  int      `json:"cylinder"`
	Side      *string  `json:"side"`
	Status    string   `json:"status"`
	UsedRatio *float64 `json:"used_ratio"`
	Due50     *string  `json:"due_50_at"`
	DoneAt    *string  `json:"done_at"`
}

func (p *Publisher) servicePayload(s *rules.Snapshot) []byte {
	tasks := make([]TaskPayload, len(s.Tasks))
	var next time.Time
	for i, t := range s.Tasks {
		tasks[i] = taskPayload(t)
		if due := t.Window.Due.Median; !due.IsZero() && (next.IsZero() || due.Before(next)) {
			next = due
		}
	}
	return encode(ServicePayload{
		Origin: p.origin("service", s.Pump, s.At),
		At:     moment(s.At), Tag: p.tag(s.Pump),
		RunH: number(s.Totals.RunSeconds / time.Hour.Seconds()), NextVisitAt: stamp(next), Tasks: tasks,
	})
}

func taskPayload(t rules.TaskView) TaskPayload {
	unit, scale := lifeUnit(t.Life.By)
	due := &t.Window.Due
	return TaskPayload{
		Task: t.Task, Status: t.Status.String(),
		UsedRatio: number(t.Life.Used), DecidedBy: text(string(t.Life.By)),
		Spent: number(t.Life.Spent / scale), Limit: number(t.Life.Limit / scale), Unit: text(unit),
		CalendarKnown: t.Life.CalendarKnown, DoneAt: moment(t.Done.At), DoneBy: text(t.Done.By),
		Due10: stamp(due.Early), Due50: stamp(due.Median), Due90: stamp(due.Late), DueBy: text(string(due.By)), NoForecast: text(due.Why), AtLatest: due.AtLatest,
		Places: placePayloads(t.Places),
	}
}

func placePayloads(places []rules.PlaceView) []PlacePayload {
	out := make([]PlacePayload, len(places))
	for i, p := range places {
		out[i] = PlacePayload{
			Cylinder: p.Position.Cylinder, Side: text(p.Position.Side.String()), Status: p.Status.String(),
			UsedRatio: number(p.Life.Used), Due50: stamp(p.Window.Due.Median), DoneAt: moment(p.Done.At),
		}
	}
	return out
}

// lifeUnit is what people count that measure in, and how much of the room's
// own unit it is worth.
func lifeUnit(by service.Measure) (unit string, scale float64) {
	switch by {
	case service.ByRunTime, service.ByWarmTime, service.ByCalendar:
		return "h", time.Hour.Seconds()
	case service.ByStrokes, service.ByWorn:
		return "strokes_per_plunger", 1
	case service.ByTable, service.ByCondition:
		return "1", 1
	}
	return "", 1
}

// serviceRevision changes when a status does, a task was recorded, a share used
// moved by a thousandth or a due date by a day.
func serviceRevision(s *rules.Snapshot) uint64 {
	const prime = 1099511628211 // of the 64-bit FNV hash
	revision := uint64(1)
	for i := range s.Tasks {
		t := &s.Tasks[i]
		for _, part := range [...]uint64{uint64(t.Status), uint64(t.Done.Count), uint64(math.Floor(t.Life.Used * 1000)), dayOf(t.Window.Due.Median)} {
			revision = (revision ^ part) * prime
		}
	}
	return max(revision, 1) // 0 is "unknown"
}

// dayOf counts days; 0 for no date.
func dayOf(t time.Time) uint64 {
	if t.IsZero() {
		return 0
	}
	return uint64(t.Unix() / 86400)
}
