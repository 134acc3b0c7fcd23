package configs

import (
	"math"
	"time"

	"pumpside/drivers"
	"pumpside/drivers/quantity"
	"pumpside/rules/counters"
)

var meterKinds = map[string]counters.MeterKind{"learn": counters.KindUnknown, "run": counters.RunHours, "power_on": counters.PowerOnHours}

func (p *pumpLoader) counting() {
	f, g := &p.file.Counting, &p.pump.Geometry
	set := counters.Settings{
		SpeedThreshold: f.RunningSpeed, RatedSpeed: g.MotorRatedSpeed, Ratio: g.Ratio, Cylinders: g.Cylinders,
		Displacement: g.DisplacementPerRevolution(), Efficiency: f.Efficiency, MaxGap: f.MaxGap,
		WitnessPower: f.Witness.Power, WitnessFlow: f.Witness.Flow, WitnessRipple: f.Witness.Ripple,
		Index:     counters.Index{PulsesPerRevolution: float64(p.file.Pulses)},
		HourMeter: counters.HourMeter{Kind: meterKinds[f.HourMeter.Counts]},
		Totaliser: counters.Totaliser{RollsOverAt: f.TotaliserRolls},
		Opening:   p.opening(),
	}
	if g.MotorPoles > 0 {
		set.PerHertz = quantity.RevolutionsPerMinute(120 / float64(g.MotorPoles)) // synchronous speed, slip neglected
	}
	for _, s := range p.set.Signals {
		if !s.Shared {
			set.Installed |= counters.SignalsOf(s.Signal)
		}
	}
	if set.Switched = f.Switched; f.Switched {
		set.Installed &^= counters.SignalsOf(drivers.DriveRunHours)
		if !p.given(drivers.ContactorAuxiliary) {
			p.wrong(p.here.child("counting").child("switched_drive"), "needs contactor_auxiliary under signals: it tells when the drive is this pump's")
		}
	}
	p.witnesses(&set)
	p.maxGap(f.MaxGap)
	p.rollovers(&set)
	here := p.here.child("counting")
	if f.Efficiency <= 0 || f.Efficiency > 1 {
		p.wrong(here.child("volumetric_efficiency"), "%.4g %% is not above 0 and up to 100 %%", 100*float64(f.Efficiency))
	}
	if f.RunningSpeed <= 0 {
		p.wrong(here.child("running_speed"), "must be above zero")
	}
	p.set.Counters = set
}

func (p *pumpLoader) opening() counters.Opening {
	f, here := &p.file.Opening, p.here.child("opening")
	for _, total := range []struct {
		key string
		x   float64
	}{
		{"run_hours", float64(f.RunHours)},
		{"strokes_per_plunger", f.Strokes},
		{"starts", float64(f.Starts)},
		{"pumped", float64(f.Pumped)},
		{"energy", float64(f.Energy)},
	} {
		if total.x < 0 {
			p.wrong(here.child(total.key), "must not be below zero")
		}
	}
	return counters.Opening{Run: f.RunHours, Revolutions: f.Strokes, Starts: uint64(max(f.Starts, 0)), Pumped: f.Pumped, Energy: f.Energy}
}

// witnesses checks that each has its signal.
func (p *pumpLoader) witnesses(set *counters.Settings) {
	here := p.here.child("counting").child("witness")
	for _, w := range []struct {
		key       string
		threshold float64
		signal    drivers.Signal
	}{
		{"power", float64(set.WitnessPower), drivers.MotorPower},
		{"ripple", float64(set.WitnessRipple), drivers.DischargePressure},
		{"flow", float64(set.WitnessFlow), drivers.GlycolFlow},
	} {
		switch {
		case w.threshold < 0:
			p.wrong(here.child(w.key), "must be above zero")
		case w.threshold > 0 && !p.given(w.signal):
			p.wrong(here.child(w.key), "needs %v under signals", w.signal)
		case w.threshold > 0 && p.has(w.signal) && !set.Installed.Has(w.signal):
			p.note(here.child(w.key), "other pumps work on %v too, so that it is no witness for this one", w.signal)
		}
	}
}

// longestGap is how long counters dispute before they give up; a gap must not
// be longer.
const longestGap = time.Minute

// maxGap checks that what tells running is read often enough to count time.
func (p *pumpLoader) maxGap(gap time.Duration) {
	here := p.here.child("counting").child("max_gap")
	if gap <= 0 || gap > longestGap {
		p.wrong(here, "%s is not above zero and up to %s", span(gap), span(longestGap))
		return
	}
	for _, s := range tellRunning {
		if ref, ok := p.point[s]; ok && p.beat(ref) >= gap {
			p.wrong(p.here.child("signals").child(s.String()), "point %s is read every %s, but run time adds only between readings no further apart than max_gap, %s: read it as routine, or poll faster",
				p.file.Signals[s.String()], span(p.beat(ref)), span(gap))
		}
	}
}

// rollovers takes the size of each counting register from its row.
func (p *pumpLoader) rollovers(set *counters.Settings) {
	if size, ok := p.size(drivers.ShaftIndex); ok {
		set.Index.Bits, _ = bitsOf(size)
	}
	if size, ok := p.size(drivers.GlycolVolume); ok && set.Totaliser.RollsOverAt == 0 {
		set.Totaliser.RollsOverAt = quantity.CubicMeters(size)
	}
	p.hourMeter(&set.HourMeter)
}

// size is after how much the register of a role starts again, in the base
// unit.
func (p *pumpLoader) size(s drivers.Signal) (float64, bool) {
	ref, ok := p.point[s]
	if !ok {
		return 0, false
	}
	size, ok := p.config.Devices[ref.device].Map.Points[ref.point].RollsOver()
	return math.Abs(size), ok
}

// bitsOf gives b when n is 2^b; a register of more than 48 bits never rolls
// over in the life of a pump.
func bitsOf(n float64) (bits uint, exact bool) {
	b := math.Round(math.Log2(n))
	if b < 1 || b > 48 || math.Abs(n-math.Exp2(b)) > 1e-6*n {
		return 0, false
	}
	return uint(b), true
}

func (p *pumpLoader) hourMeter(m *counters.HourMeter) {
	f, here := &p.file.Counting.HourMeter, p.here.child("counting").child("hour_meter")
	m.Resolution = f.Resolution
	size, whole := p.size(drivers.DriveRunHours)
	if m.Resolution == 0 && whole {
		m.Resolution = max(p.oneCount(drivers.DriveRunHours), time.Second)
	}
	m.Resolution = orElse(m.Resolution, time.Hour)
	if m.Resolution < time.Second {
		p.wrong(here.child("resolution"), "%s is not 1 s or more", span(m.Resolution))
		return
	}
	if f.Rollover != 0 {
		bits, exact := bitsOf(float64(f.Rollover) / float64(m.Resolution))
		if !exact {
			p.wrong(here.child("rollover"), "%s is not 2, 4, 8 … 65536 … times the resolution, %s, where a binary counter starts again", span(f.Rollover), span(m.Resolution))
		}
		m.Bits = bits
		return
	}
	if whole {
		m.Bits, _ = bitsOf(size / m.Resolution.Seconds())
	}
}

// oneCount is what one count of the register of a role is worth in time.
func (p *pumpLoader) oneCount(s drivers.Signal) time.Duration {
	ref := p.point[s]
	row := &p.config.Devices[ref.device].Map.Points[ref.point]
	seconds := math.Abs(row.Scale * row.Unit.Scale)
	return time.Duration(math.Round(min(seconds, 1e6) * float64(time.Second)))
}
