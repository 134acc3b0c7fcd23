package main

import (
	"fmt"
	"io"
	"time"

	web "pumpside/exporter/page"
	"pumpside/rules/service"
)

// planAhead is how far ahead the page plans visits.
const planAhead = 90 * 24 * time.Hour

// Sheet implements page.Source with the sheet of "service plan".
func (s *pageSource) Sheet(w io.Writer) error {
	p := s.plan()
	return writeSheet(w, s.config, &p)
}

func (s *pageSource) plan() sitePlan {
	b := serviceBook{At: s.clock.instant().Wall}
	for _, one := range s.snapshots() {
		b.Pumps = append(b.Pumps, pumpBook{Pump: one.Pump, Tasks: one.Tasks})
	}
	return planOf(s.config, &b, "", planAhead)
}

// Plan implements page.Source with the plan of "service plan".
func (s *pageSource) Plan() web.Plan {
	p := s.plan()
	plan := web.Plan{Until: p.Until, NoDates: p.NoDates}
	for i := range p.Visits {
		plan.Visits = append(plan.Visits, s.visit(&p.Visits[i]))
	}
	for _, j := range p.Undated {
		plan.Undated = append(plan.Undated, s.job(j))
	}
	return plan
}

func (s *pageSource) visit(v *loadedVisit) web.Visit {
	out := web.Visit{On: v.On, Work: time.Duration(v.Minutes * float64(time.Minute)), Opens: v.Opens, Oil: v.Oil}
	for _, p := range v.Pumps {
		one := web.VisitPump{Pump: p.Pump, Tools: p.Tools, Manual: p.Manual}
		for _, j := range p.Jobs {
			one.Jobs = append(one.Jobs, s.job(j))
			if j.Parts != "" {
				one.Bring = append(one.Bring, j.Parts)
			}
		}
		for _, j := range p.Offers {
			one.Offers = append(one.Offers, s.job(j))
		}
		for _, k := range p.Kits {
			one.Bring = append(one.Bring, kitLine(k))
		}
		out.Pumps = append(out.Pumps, one)
	}
	return out
}

func kitLine(k service.Load) string {
	return joined(" ", fmt.Sprintf("%d ×", k.Quantity), k.Kit.Name, k.Kit.Number)
}

// job gives a job with the place used most.
func (s *pageSource) job(j service.Job) web.Job {
	out := web.Job{Pump: j.Pump, Task: j.Task, Steps: j.Steps}
	for _, at := range j.At {
		if at.Used >= out.Used {
			out.Used, out.Due, out.Asked = at.Used, at.Due, at.By == service.ByCondition
		}
		if at.Position.Cylinder > 0 || at.Position.Side != 0 {
			out.Places = append(out.Places, at.Position.String())
		}
	}
	return out
}
