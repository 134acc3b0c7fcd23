package rules

import (
	"encoding/json"
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

	Was   int                    `json:"was,omitzero"` // the conditions at From, a place in Bands
	Bands [leakBands]leakHistory `json:"bands,omitzero"`
}

// UnmarshalJSON takes places and counts from a file only as far as they can be.
func (l *leakDown) UnmarshalJSON(text []byte) error {
	type plain leakDown
	if err := json.Unmarshal(text, (*plain)(l)); err != nil {
		return err
	}
	const most = 1 << 30 // stops of any pump
	l.Was, l.Count = min(max(l.Was, 0), leakBands-1), min(max(l.Count, 0), most)
	for i := range l.Bands {
		l.Bands[i].Count = min(max(l.Bands[i].Count, 0), most)
	}
	return nil
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
	// Learned is the median of the stops the pump was learned from, under the
	// conditions of the newest; Limit is where the advisory begins. Both only
	// with Known.
	Known   bool    `json:"known"`
	Learned float64 `json:"learned"`
	Limit   float64 `json:"limit"`
}

func (l *leakDown) step(set *Settings, s *State, running alarm.Known) {
	_, since := s.running()
	band := s.leakBand(set)
	if running != alarm.No || since > leakDownFor+2*leakDownFrom || l.From != nil && band/2 != l.Was/2 {
		l.From = nil // another pump came or went: the header moved, not this pump
		return
	}
	now := s.moment.At.SinceBoot
	switch {
	case l.From != nil && now-l.At >= leakDownFor:
		if p, ok := s.head(set); ok {
			loss := min(max(1 - p / *l.From, 0), 1)
			l.Losses[l.Count%len(l.Losses)] = loss
			l.Count++
			l.Bands[l.Was].add(loss)
		}
		l.From = nil
	case l.From == nil && since >= leakDownFrom && since < 2*leakDownFrom+leakDownFrom:
		if p, ok := s.head(set); ok && p > 0 {
			l.From, l.At, l.Was = &p, now, band
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
	v := &LeakDownView{Stops: l.Count, Newest: round(l.Losses[(l.Count-1)%len(l.Losses)]), Usual: round(middle)}
	if b := &l.Bands[l.Was]; b.known() {
		v.Known, v.Learned, v.Limit = true, round(b.Learned), round(b.Limit)
	}
	return v
}
