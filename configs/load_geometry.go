package configs

import (
	"errors"
	"math"
	"strconv"
	"strings"

	"pumpside/drivers"
	"pumpside/drivers/quantity"
	"pumpside/rules"
	"pumpside/rules/hydraulics"
	"pumpside/rules/pump"
)

// geometryKeys are the file's names for the fields of a geometry that have
// another one there.
var geometryKeys = map[string][]string{
	"mechanism.kind":      {"mechanism"},
	"mechanism.rod_ratio": {"mechanism", "crank", "rod_ratio"},
	"mechanism.discharge": {"mechanism", "crank", "discharge"},
	"dead_volume.oil":     {"dead_volume", "oil"},
	"dead_volume.liquid":  {"dead_volume", "liquid"},
	"motor_poles":         {"motor", "poles"},
	"motor_rated_speed":   {"motor", "rated_speed"},
}

func (p *pumpLoader) geometry() {
	f := p.file
	g := pump.Geometry{
		Mechanism: p.mechanism(), Cylinders: f.Cylinders, Bore: f.Bore, Stroke: f.Stroke,
		Dead:  pump.DeadVolume{Oil: f.DeadVolume.Oil, Liquid: f.DeadVolume.Liquid},
		Ratio: quantity.Ratio(f.Ratio), Belt: f.Transmission == "belt",
		MotorPoles: f.Motor.Poles, MotorRatedSpeed: f.Motor.RatedSpeed,
		RatedSpeed: f.RatedSpeed, RatedPressure: f.RatedPressure, Cylinder1: f.Cylinder1,
	}
	if p.has(drivers.ShaftIndex) {
		g.Index.PulsesPerRevolution = float64(f.Pulses)
	}
	g.Index.Angle, g.Index.AngleKnown = p.angle()
	if f.Pulses < 1 {
		p.wrong(p.here.child("pulses_per_revolution"), "%d is not a number of pulses; count those in one turn of the pump's shaft, 1 or more", f.Pulses)
	}
	var found pump.Problems
	if errors.As(g.Validate(), &found) {
		for _, one := range found {
			p.wrong(p.key(one.Field), "%s", one.Text)
		}
	}
	if f.Transmission == "direct" && f.Ratio != 1 {
		p.wrong(p.here.child("transmission"), "is direct, but ratio is %g; a direct coupling has ratio 1", f.Ratio)
	}
	for _, order := range []float64{3, 6} {
		if math.Abs(f.Ratio-order) < 0.02*order && f.Cylinders == 3 {
			p.note(p.here.child("ratio"), "%g puts the motor's own line under the pump's %gx, where it cannot be told from the ripple", f.Ratio, order)
		}
	}
	p.pump.Geometry, p.set.Geometry = g, g
	p.suction()
	p.doubtIndex()
	p.doubtSpeeds()
	p.doubtSize()
}

func (p *pumpLoader) suction() {
	f, here := &p.file.Suction, p.here.child("suction")
	p.set.Suction = rules.Suction{
		Required: f.Required, Atmosphere: f.Atmosphere, Water: f.Water,
		Line: hydraulics.SuctionLine{Length: f.Length, Bore: f.Bore, Liquid: hydraulics.GlycolLiquid},
	}
	switch {
	case f.Required < 0 || f.Length < 0 || f.Bore < 0:
		p.wrong(here, "has a length below zero")
	case f.Length > 0 && f.Bore == 0:
		p.wrong(here.child("line_bore"), "is missing; without it the liquid's velocity in the pipe is not known")
	case f.Atmosphere < 30e3 || f.Atmosphere > 120e3:
		p.wrong(here.child("atmosphere"), "is no pressure of the air; write it absolute, such as 101.3 kPa at sea level")
	case f.Water < 0 || f.Water >= 1:
		p.wrong(here.child("water"), "must be from 0 to below 100 %%")
	case f.Required > 0 && !(p.has(drivers.SuctionPressure) && p.has(drivers.GlycolTemperature)):
		p.note(here.child("required_head"), "is of use only with suction_pressure and glycol_temperature")
	}
}

// key is the place of a field of the geometry.
func (p *pumpLoader) key(field string) *place {
	here := p.here
	for _, key := range orKey(geometryKeys[field], field) {
		here = here.child(key)
	}
	return here
}

func (p *pumpLoader) mechanism() pump.Mechanism {
	f, here := &p.file.Mechanism, p.here.child("mechanism")
	switch {
	case p.isSpoilt(here) || p.isSpoilt(here.child("crank")) || p.isSpoilt(here.child("sine")):
	case f.Crank != nil && f.Sine:
		p.problem(here, "is crank and sine at once; keep the one that moves the plungers")
		p.unknown(here)
	case f.Crank == nil && !f.Sine:
		p.problem(here, "is neither crank nor sine; write {crank: {rod_ratio: 5, discharge: away}} or {sine: true}")
		p.unknown(here)
	case f.Sine:
		return pump.Mechanism{Kind: pump.Sine}
	}
	if f.Crank == nil {
		p.unknown(here)
		return pump.Mechanism{}
	}
	m := pump.Mechanism{Kind: pump.Crank, RodRatio: quantity.Ratio(f.Crank.RodRatio)}
	_ = m.Discharge.UnmarshalText([]byte(f.Crank.Discharge)) // one of the words, or told already
	return m
}

// angle reads "40 deg" or "40°".
func (p *pumpLoader) angle() (a pump.Degrees, known bool) {
	text := p.file.IndexAngle
	if text == "" {
		return 0, false
	}
	number := strings.TrimSpace(strings.TrimSuffix(strings.TrimSuffix(text, "deg"), "°"))
	x, err := strconv.ParseFloat(number, 64)
	if err != nil || number == text {
		p.wrong(p.here.child("index_angle"), "%q is no angle; write such as %q", text, "40 deg")
		return 0, false
	}
	return pump.Degrees(x), true
}

func orKey(keys []string, otherwise string) []string {
	if keys == nil {
		return []string{otherwise}
	}
	return keys
}
