package configs

import (
	"errors"
	"slices"
	"strings"

	"pumpside/rules/alarm"
	"pumpside/rules/pump"
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
		p.weights(here, f)
		p.pump.Titles[f.Task], p.pump.Parts[f.Task] = orElse(f.Title, f.Task), f.Parts
		kind := workOf(f)
		p.set.Tasks = append(p.set.Tasks, service.Task{
			Name: f.Task, Kind: kind, Positions: positions(orElse(f.Per, usualPer[kind]), p.file.Cylinders),
			RunTime: f.RunHours, Strokes: f.Strokes, Calendar: f.Calendar, FirstRunTime: f.FirstRun, Table: table(f.Table),
			Warm: warm(f.Warm), Pressure: byPressure(f.Pressure),
			Waste: float64(p.file.Visit.Waste), Aged: f.FirstRun > 0 && p.file.Opening.RunHours >= f.FirstRun,
			DueSoon: float64(f.DueSoon), Overdue: float64(f.Overdue), Parts: f.Parts, Minutes: f.Work.Minutes(), Oil: 1000 * float64(f.Oil),
		})
	}
	p.kits()
	p.visit()
}

func workOf(f *serviceFile) service.Kind {
	switch {
	case f.Kind == "own":
		return ""
	case f.Kind != "":
		return service.Kind(f.Kind)
	case slices.Contains(service.Kinds(), f.Task):
		return service.Kind(f.Task)
	case f.Task == alarm.RunInOil:
		return service.Oil
	}
	return ""
}

// usualPer is what lives are counted per when nobody says.
var usualPer = map[service.Kind]string{service.Valves: "valve", service.Diaphragms: "cylinder", service.PlungerSeals: "cylinder"}

func positions(per string, cylinders int) (list []pump.Position) {
	cylinders = max(min(cylinders, 9), 0) // a wrong number is told elsewhere
	switch per {
	case "valve":
		return pump.Geometry{Cylinders: cylinders}.Valves()
	case "cylinder":
		for c := 1; c <= cylinders; c++ {
			list = append(list, pump.Position{Cylinder: c})
		}
	}
	return list
}

func table(rows []rowFile) (t service.Table) {
	for _, r := range rows {
		t = append(t, service.Row{Speed: r.Speed, Pressure: r.Pressure, Temperature: r.Oil, RunTime: r.RunHours})
	}
	return t
}

// warm weights nothing without a base.
func warm(f warmFile) service.Warm {
	if f.Base == 0 {
		return service.Warm{}
	}
	return service.Warm{Base: f.Base, Step: float64(f.Doubles)}
}

func byPressure(f wearFile) service.Pressure {
	if f.Reference == 0 {
		return service.Pressure{}
	}
	return service.Pressure{Reference: f.Reference, Exponent: f.Exponent}
}

// weights checks what makes an interval depend on how the pump runs.
func (p *pumpLoader) weights(here *place, f *serviceFile) {
	if f.Warm.Base != 0 && f.RunHours == 0 {
		p.wrong(here.child("oil_temperature"), "weights run_hours, but there are none")
	}
	if f.Warm.Doubles <= 0 {
		p.wrong(here.child("oil_temperature").child("doubles_every"), "must be above zero")
	}
	if f.Pressure.Reference != 0 && f.Strokes == 0 {
		p.wrong(here.child("pressure"), "weights strokes_per_plunger, but there are none")
	}
	if f.Pressure.Reference < 0 || f.Pressure.Exponent < 0 {
		p.wrong(here.child("pressure"), "must not be below zero")
	}
	for i, r := range f.Table {
		if row := here.child("table").item(i); r.RunHours <= 0 {
			p.wrong(row.child("run_hours"), "must be above zero")
		}
	}
	if f.Oil < 0 || f.Work < 0 {
		p.wrong(here, "oil_volume and work must not be below zero")
	}
}

func (p *pumpLoader) kits() {
	for i, f := range p.file.Kits {
		kit := pump.Kit{Name: f.Name, Number: f.Number, PerCylinder: f.PerCylinder}
		for _, c := range f.Renews {
			kit.Renews = append(kit.Renews, pump.Component(c))
		}
		for _, item := range f.Contents {
			kit.Contents = append(kit.Contents, pump.Item{Name: item.Item, Number: item.Number, Quantity: item.Quantity, Unit: item.Unit})
		}
		var found pump.Problems
		here := p.here.child("kits").item(i)
		if errors.As(kit.Validate(), &found) && !p.isSpoilt(here.child("name")) && !p.isSpoilt(here.child("renews")) {
			for _, one := range found {
				p.wrong(here.child(one.Field), "%s", one.Text)
			}
		}
		p.pump.Kits = append(p.pump.Kits, kit)
	}
}

func (p *pumpLoader) visit() {
	f := &p.file.Visit
	p.pump.Visit = Visit{Tools: f.Tools, OilGrade: f.Oil, Manual: f.Manual}
	for _, one := range f.Figures {
		p.pump.Visit.Figures = append(p.pump.Visit.Figures, Figure(one))
	}
	if f.Waste <= 0 || f.Waste >= 1 {
		p.wrong(p.here.child("visit").child("most_life_left"), "%.4g %% is not between 0 and 100 %% of the life", 100*float64(f.Waste))
	}
	if len(f.Figures) > 0 && f.Manual == "" {
		p.wrong(p.here.child("visit"), "has figures but no manual they are from")
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
	if !given && len(f.Table) == 0 && !p.isSpoilt(here.child("table")) {
		p.wrong(here, "has no interval; write run_hours, strokes_per_plunger, calendar, table or more than one of them")
	}
	if f.DueSoon <= 0 || f.DueSoon >= 1 {
		p.wrong(here.child("due_soon"), "%.4g %% is not between 0 and 100 %% of the life", 100*float64(f.DueSoon))
	}
	if f.Overdue < 1 {
		p.wrong(here.child("overdue"), "%.4g %% is less than 100 %% of the life", 100*float64(f.Overdue))
	}
}
