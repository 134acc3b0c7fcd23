package rules

import (
	"math"
	"slices"
	"time"

	"pumpside/drivers"
	"pumpside/rules/alarm"
)

// A leakDown is how fast the discharge pressure falls after a stop, as a share
// of what stood above the suction, lost within a minute. Behind a line check
// valve that holds it is the pump's own valves that let it down, and a pump
// polled too slowly for orders shows no other sign of them. It names no valve,
// and a line check valve that passes hides it.
type leakDown struct {
	From   *float64      `json:"from,omitempty"` // Pa above suction, as the pump had just stopped
	At     time.Duration `json:"at,omitzero"`    // since boot
	Losses [16]float64   `json:"losses,omitzero"`
	Count  int           `json:"count,omitzero"`
}

// After a stop the pressure settles for some seconds; then a minute is watched.
const (
	leakDownFrom = 5 * time.Second
	leakDownFor  = 60 * time.Second
)

// A LeakDownView is that indicator: the newest, and the median of the last
// sixteen stops.
type LeakDownView struct {
	Stops  int     `json:"stops"` // it was measured after
	Newest float64 `json:"newest"`
	Usual  float64 `json:"usual"`
}

func (l *leakDown) step(set *Settings, s *State, running alarm.Known) {
	_, since := s.running()
	if running != alarm.No || since > leakDownFor+2*leakDownFrom {
		l.From = nil
		return
	}
	now := s.moment.At.SinceBoot
	switch {
	case l.From != nil && now-l.At >= leakDownFor:
		if p, ok := s.head(set); ok {
			l.Losses[l.Count%len(l.Losses)] = min(max(1 - p / *l.From, 0), 1)
			l.Count++
		}
		l.From = nil
	case l.From == nil && since >= leakDownFrom && since < 2*leakDownFrom+leakDownFrom:
		if p, ok := s.head(set); ok && p > 0 {
			l.From, l.At = &p, now
		}
	}
}

// head is what stands above the suction, as read last; the rolling median is
// for pumps that run.
func (s *State) head(set *Settings) (float64, bool) {
	p, ok := s.newest(set, drivers.DischargePressure)
	if !ok || s.notOwn(set, drivers.DischargePressure) {
		return 0, false
	}
	suction, _ := s.newest(set, drivers.SuctionPressure)
	return p - max(suction, 0), true
}

func (l *leakDown) view() *LeakDownView {
	if l.Count == 0 {
		return nil
	}
	n := min(l.Count, len(l.Losses))
	sorted := slices.Sorted(slices.Values(l.Losses[:n]))
	middle := (sorted[(n-1)/2] + sorted[n/2]) / 2
	round := func(x float64) float64 { return math.Round(x*1e4) / 1e4 }
	return &LeakDownView{Stops: l.Count, Newest: round(l.Losses[(l.Count-1)%len(l.Losses)]), Usual: round(middle)}
}
