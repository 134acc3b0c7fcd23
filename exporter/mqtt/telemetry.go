package mqtt

import (
	"time"

	"pumpside/drivers"
	"pumpside/rules"
)

// A TelemetryPayload is a pump's snapshot.
type TelemetryPayload struct {
	Origin
	At       *string         `json:"at"`
	Tag      *string         `json:"tag"`
	Running  *bool           `json:"running"`
	Observed bool            `json:"observed"` // whether the time now passing can be told run or standing
	Totals   TotalsPayload   `json:"totals"`
	Signals  []SignalPayload `json:"signals"`
}

// A TotalsPayload is a pump's counters, all since its first hour.
type TotalsPayload struct {
	RunS              *float64 `json:"run_s"`
	UnobservedS       *float64 `json:"unobserved_s"`
	ShaftRevolutions  *float64 `json:"shaft_revolutions"` // strokes per plunger
	DischargeStrokes  *float64 `json:"discharge_strokes"`
	Starts            *float64 `json:"starts"`
	PumpedCubicMeters *float64 `json:"pumped_cubic_meters"`
	EnergyJoules      *float64 `json:"energy_joules"`
}

// A SignalPayload is one reading. A bad one has no value: an old value is never
// sent as live.
type SignalPayload struct {
	Signal  string   `json:"signal"`
	Value   *float64 `json:"value"`
	Unit    *string  `json:"unit"`
	Quality string   `json:"quality"`
	Reason  *string  `json:"reason"`
	AgeS    *float64 `json:"age_s"` // since it was last good; null when never, or before this boot
}

func (p *Publisher) telemetryPayload(s *rules.Snapshot) []byte {
	now := p.Now()
	signals := make([]SignalPayload, len(s.Signals))
	for i := range s.Signals {
		signals[i] = signalPayload(&s.Signals[i], now)
	}
	t := s.Totals
	return encode(TelemetryPayload{
		Origin: p.origin("telemetry", s.Pump, s.At),
		At:     moment(s.At), Tag: p.tag(s.Pump), Running: answer(s.Running), Observed: s.Observed,
		Totals: TotalsPayload{
			RunS: number(t.RunSeconds), UnobservedS: number(t.UnobservedSeconds),
			ShaftRevolutions: number(t.Revolutions), DischargeStrokes: number(t.DischargeStrokes), Starts: number(t.Starts),
			PumpedCubicMeters: number(t.PumpedVolume), EnergyJoules: number(t.Energy),
		},
		Signals: signals,
	})
}

func signalPayload(s *rules.SignalView, now drivers.Instant) SignalPayload {
	payload := SignalPayload{Signal: s.Name, Unit: text(s.Dimension.Base()), Quality: s.Quality.String(), Reason: text(s.Reason.String())}
	if s.Quality != drivers.Bad {
		payload.Value = number(s.Value)
	}
	if !s.GoodAt.IsZero() && s.GoodAt.SameBoot(now) {
		payload.AgeS = number(max(now.SinceBoot-s.GoodAt.SinceBoot, 0).Round(time.Millisecond).Seconds())
	}
	return payload
}
