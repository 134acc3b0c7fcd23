package configs

import (
	"strings"

	"pumpside/rules/service"
)

// services also keeps tasks and site-named signals apart: events name both.
func (p *pumpLoader) services() {
	names := p.newIDs()
	for i, f := range p.file.Auxiliary {
		names.first[strings.ToLower(f.Name)] = p.here.child("auxiliary").item(i).child("name")
	}
	for i := range p.file.Services {
		f, here := &p.file.Services[i], p.here.child("services").item(i)
		names.add(here.child("task"), f.Task)
		p.intervals(here, f)
		p.pump.Titles[f.Task], p.pump.Parts[f.Task] = orElse(f.Title, f.Task), f.Parts
		p.set.Tasks = append(p.set.Tasks, service.Task{
			Name: f.Task, RunTime: f.RunHours, Strokes: f.Strokes, Calendar: f.Calendar, FirstRunTime: f.FirstRun,
			DueSoon: float64(f.DueSoon), Overdue: float64(f.Overdue), Parts: f.Parts,
		})
	}
}

func (p *pumpLoader) intervals(here *place, f *serviceFile) {
	given := false
	for _, one := range []struct {
		key      string
		interval float64
	}{
		{"run_hours", float64(f.RunHours)},
		{"first_run_hours", float64(f.FirstRun)},
		{"strokes_per_plunger", f.Strokes},
		{"calendar", float64(f.Calendar)},
	} {
		given = given || one.interval != 0 || p.isSpoilt(here.child(one.key))
		if one.interval < 0 {
			p.wrong(here.child(one.key), "must be above zero")
		}
	}
	if !given {
		p.wrong(here, "has no interval; write run_hours, strokes_per_plunger, calendar or more than one of them")
	}
	if f.DueSoon <= 0 || f.DueSoon >= 1 {
		p.wrong(here.child("due_soon"), "%.4g %% is not between 0 and 100 %% of the life", 100*float64(f.DueSoon))
	}
	if f.Overdue < 1 {
		p.wrong(here.child("overdue"), "%.4g %% is less than 100 %% of the life", 100*float64(f.Overdue))
	}
}
