package mqtt

import (
	"math"
	"time"

	"pumpside/rules"
	"pumpside/rules/service"
)

// A ServicePayload is how much of each service interval of a pump is used;
// retained, and sent again when a share moved by a thousandth.
type ServicePayload struct {
	Origin
	At    *string       `json:"at"`
	Tag   *string       `json:"tag"`
	RunH  *float64      `json:"run_h"` // hours the pump has run
	Tasks []TaskPayload `json:"tasks"`
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
}

func (p *Publisher) servicePayload(s *rules.Snapshot) []byte {
	tasks := make([]TaskPayload, len(s.Tasks))
	for i, t := range s.Tasks {
		tasks[i] = taskPayload(t)
	}
	return encode(ServicePayload{
		Origin: p.origin("service", s.Pump, s.At),
		At:     moment(s.At), Tag: p.tag(s.Pump),
		RunH: number(s.Totals.RunSeconds / time.Hour.Seconds()), Tasks: tasks,
	})
}

func taskPayload(t rules.TaskView) TaskPayload {
	unit, scale := lifeUnit(t.Life.By)
	return TaskPayload{
		Task: t.Task, Status: t.Status.String(),
		UsedRatio: number(t.Life.Used), DecidedBy: text(string(t.Life.By)),
		Spent: number(t.Life.Spent / scale), Limit: number(t.Life.Limit / scale), Unit: text(unit),
		CalendarKnown: t.Life.CalendarKnown, DoneAt: moment(t.Done.At), DoneBy: text(t.Done.By),
	}
}

// lifeUnit is what people count that measure in, and how much of the room's
// own unit it is worth.
func lifeUnit(by service.Measure) (unit string, scale float64) {
	switch by {
	case service.ByRunTime, service.ByCalendar:
		return "h", time.Hour.Seconds()
	case service.ByStrokes:
		return "strokes_per_plunger", 1
	}
	return "", 1
}

// serviceRevision changes when a status does, a task was recorded, or a share
// used moved by a thousandth.
func serviceRevision(s *rules.Snapshot) uint64 {
	const prime = 1099511628211 // of the 64-bit FNV hash
	revision := uint64(1)
	for i := range s.Tasks {
		t := &s.Tasks[i]
		for _, part := range [...]uint64{uint64(t.Status), uint64(t.Done.Count), uint64(math.Floor(t.Life.Used * 1000))} {
			revision = (revision ^ part) * prime
		}
	}
	return max(revision, 1) // 0 is "unknown"
}
