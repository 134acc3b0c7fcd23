package report

import (
	"cmp"
	"time"

	"pumpside/drivers/quantity"
	"pumpside/rules/alarm"
	"pumpside/rules/hydraulics"
	"pumpside/rules/site"
)

// groups says how each circulation stands and was.
func (r *Report) groups(in *Input) {
	for i := range in.Own.Groups {
		v := &in.Own.Groups[i]
		g := Group{
			Group: v.Group, Title: cmp.Or(in.Groups[v.Group], v.Group), Moves: v.Moves, Wanted: v.Wanted, WantedBy: v.WantedBy, Gas: v.Gas,
			Delivering: v.Delivering, Required: v.Required, Spare: v.Behind(),
			Flow: litres(v.Flow, v.FlowKnown), Target: litres(v.Target, v.TargetBy == "gas" || v.TargetBy == "setting"), TargetBy: v.TargetBy,
		}
		g.countLost(in)
		g.circulated(in, r, v)
		r.Groups = append(r.Groups, g)
	}
}

// countLost counts the times in which no pump delivered, each from when that
// began until it was over, or as far as anything is known.
func (g *Group) countLost(in *Input) {
	var from time.Time
	end := func(at time.Time) {
		if !from.IsZero() {
			g.LostFor += max(at.Sub(from), 0).Seconds()
		}
		from = time.Time{}
	}
	for _, one := range in.Journal {
		e := one.Event
		switch {
		case e.Group != g.Group || e.Text != "circulation_lost" && e.Text != "circulation_short":
		case e.Kind == alarm.Cleared || e.Kind == alarm.Eased:
			end(e.At.Wall)
		case e.Text == "circulation_lost" && (e.Kind == alarm.Raised || e.Kind == alarm.Worsened):
			g.Lost++
			from = e.At.Wall
			if e.Kind == alarm.Raised {
				from = from.Add(-e.Duration)
			}
		}
	}
	end(in.until())
}

func litres(flow quantity.CubicMetersPerSecond, known bool) *float64 {
	x := float64(flow) * 60e3
	if !known {
		return nil
	}
	return &x
}

// mostUnknown is the part of the time for which the target may be unknown.
const mostUnknown = 0.05

// circulated adds up what the group's pumps moved and what that took, against
// what was needed over the same time.
func (g *Group) circulated(in *Input, r *Report, v *site.GroupView) {
	moved, energy, from := sum{}, sum{}, time.Time{}
	for i := range r.Pumps {
		p := &r.Pumps[i]
		if in.Members[p.Pump] != v.Group {
			continue
		}
		moved.add(p.Pumped)
		energy.add(p.Energy)
		if p.CountedSince != nil && (from.IsZero() || p.CountedSince.Before(from)) {
			from = *p.CountedSince
		}
	}
	g.Circulated, g.Energy = moved.known(), energy.known()
	if g.Energy != nil {
		g.Cost = priced(*g.Energy, in.Price)
		g.PerVolume = by(*g.Energy, g.Circulated)
	}
	volume, known, ok := v.NeededSince(from)
	if span := in.At.Wall.Sub(from); !ok || volume <= 0 || known.Seconds() < (1-mostUnknown)*span.Seconds() {
		return
	}
	g.Needed = new(float64(volume))
	if g.Circulated != nil {
		g.Share = by(*g.Circulated, g.Needed)
		heat := float64(hydraulics.CirculationHeat(quantity.CubicMeters(max(*g.Circulated-*g.Needed, 0)))) / 3.6e6
		g.ExcessHeat, g.HeatCost = &heat, priced(heat, in.Heat)
	}
}

// A sum is known when all that was added is.
type sum struct {
	x       float64
	n       int
	missing bool
}

func (s *sum) add(x *float64) {
	if x == nil {
		s.missing = true
		return
	}
	s.x, s.n = s.x+*x, s.n+1
}

func (s *sum) known() *float64 {
	if s.n == 0 || s.missing {
		return nil
	}
	return &s.x
}

// priced is what x costs; nil without a price.
func priced(x, price float64) *float64 {
	if price <= 0 {
		return nil
	}
	return new(x * price)
}

// by is x for each of what n counts; nil for none.
func by(x float64, n *float64) *float64 {
	if n == nil || *n <= 0 {
		return nil
	}
	return new(x / *n)
}
