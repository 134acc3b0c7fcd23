package service_test

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pumpside/drivers"
	"pumpside/rules/service"
)

// Intervals here are invented; 500 h run-in is common practice, no source.
var oil = service.Task{
	Name: "oil", RunTime: 2000 * time.Hour, FirstRunTime: 500 * time.Hour, Calendar: 365 * 24 * time.Hour,
	DueSoon: service.DefaultDueSoon, Overdue: service.DefaultOverdue,
}

var spring = time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)

func at(wall time.Time, synchronized bool) drivers.Instant {
	return drivers.Instant{Wall: wall, Boot: wall.Format(time.RFC3339), SinceBoot: time.Hour, Synchronized: synchronized}
}

func TestLifeUsed(t *testing.T) {
	valves := service.Task{Name: "valves", RunTime: 4000 * time.Hour, Strokes: 50e6, DueSoon: 0.9, Overdue: 1.1}
	begun := service.Done{Since: at(spring, true)}
	changed := service.Done{Count: 1, Totals: service.Totals{RunTime: 510 * time.Hour}, Since: at(spring, true)}
	tests := []struct {
		name   string
		task   service.Task
		done   service.Done
		totals service.Totals
		now    drivers.Instant
		want   service.Life
		status service.Status
	}{
		{
			"a new pump's oil is due at 500 h", oil, begun,
			service.Totals{RunTime: 500 * time.Hour},
			at(spring, true),
			service.Life{Used: 1, By: service.ByRunTime, Spent: 1.8e6, Limit: 1.8e6, CalendarKnown: true},
			service.Due,
		},
		{
			"after the run-in change the long interval counts", oil, changed,
			service.Totals{RunTime: 1010 * time.Hour},
			at(spring, true),
			service.Life{Used: 0.25, By: service.ByRunTime, Spent: 1.8e6, Limit: 7.2e6, CalendarKnown: true},
			service.InLife,
		},
		{
			"a pump that stands still ages by the calendar", oil, changed,
			service.Totals{RunTime: 510 * time.Hour},
			at(spring.AddDate(0, 0, 365), true),
			service.Life{Used: 1, By: service.ByCalendar, Spent: 31_536_000, Limit: 31_536_000, CalendarKnown: true},
			service.Due,
		},
		{
			"a clock from 1970 ages nothing", oil, changed,
			service.Totals{RunTime: 510 * time.Hour},
			at(time.Unix(90, 0), false),
			service.Life{By: service.ByRunTime, Limit: 7.2e6},
			service.InLife,
		},
		{
			"fast pumps use up strokes first", valves,
			service.Done{},
			service.Totals{RunTime: 1000 * time.Hour, Strokes: 46e6},
			at(spring, true),
			service.Life{Used: 0.92, By: service.ByStrokes, Spent: 46e6, Limit: 50e6, CalendarKnown: true},
			service.DueSoon,
		},
		{
			"overdue begins at its own share", valves,
			service.Done{},
			service.Totals{RunTime: 4400 * time.Hour},
			at(spring, true),
			service.Life{Used: 1.1, By: service.ByRunTime, Spent: 15_840_000, Limit: 14_400_000, CalendarKnown: true},
			service.Overdue,
		},
		{
			"a task without intervals is never due",
			service.Task{Name: "look"},
			service.Done{},
			service.Totals{RunTime: 9000 * time.Hour},
			at(spring, true),
			service.Life{CalendarKnown: true},
			service.InLife,
		},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got := tt.task.Used(&tt.done, &tt.totals, tt.now)
			if d := cmp.Diff(tt.want, got); d != "" {
				t.Errorf("Used (-want +got):\n%s", d)
			}
			if s := tt.task.Status(got); s != tt.status {
				t.Errorf("Status = %v, want %v", s, tt.status)
			}
		})
	}
}

func TestCalendarBeginsAtTheFirstGoodClock(t *testing.T) {
	var s service.TaskState
	s.Begin(&service.Task{}, at(time.Unix(60, 0), false), &service.Totals{})
	if s.Since.Wall.Year() != 1970 {
		t.Fatalf("begins at %v", s.Since.Wall)
	}
	if s.Begin(&service.Task{}, at(spring, true), &service.Totals{}); !s.Since.Wall.Equal(spring) {
		t.Errorf("a good clock does not replace the bad one: %v", s.Since.Wall)
	}
	if s.Begin(&service.Task{}, at(spring.AddDate(1, 0, 0), true), &service.Totals{}); !s.Since.Wall.Equal(spring) {
		t.Errorf("a good beginning moved to %v", s.Since.Wall)
	}
}

func TestClockSetWithinABootPutsTheBeginningRight(t *testing.T) {
	var s service.TaskState
	s.Begin(&service.Task{}, drivers.Instant{Wall: time.Unix(60, 0), Boot: "a", SinceBoot: time.Minute}, &service.Totals{})
	s.Begin(&service.Task{}, drivers.Instant{Wall: spring, Boot: "a", SinceBoot: 61 * time.Minute, Synchronized: true}, &service.Totals{})
	if want := spring.Add(-time.Hour); !s.Since.Wall.Equal(want) || !s.Since.Synchronized {
		t.Errorf("begins at %v, want %v", s.Since.Wall, want)
	}
}
