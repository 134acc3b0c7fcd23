package simulator

import (
	"math"

	"pumpside/drivers/quantity"
)

// heat is the temperatures of the skid, in °C.
type heat struct {
	ambient, glycol, oil, heatsink float64
}

const (
	oilRise    = 35.0 // K above ambient after hours at full load, beside 80 °C glycol
	oilTime    = 3000 // s
	sinkRise   = 22.0 // K at rated power
	sinkTime   = 400  // s
	day        = 86400.0
	dayAmbient = 6.0 // K either side over a day
	hourGlycol = 0.8 // K either side over about an hour
)

func (t *heat) start(s *Settings) {
	t.ambient, t.glycol = float64(s.Ambient), float64(s.Glycol)
	t.oil, t.heatsink = t.ambient, t.ambient
}

// warm is where the temperatures are after hours of running.
func (t *heat) warm(s *Settings) { t.oil, t.heatsink = t.ambient+oilRise, t.ambient+sinkRise/2 }

// step moves the temperatures by one tick.
func (t *heat) step(k *Skid) {
	at := k.now().Seconds()
	t.ambient = float64(k.set.Ambient) + dayAmbient*math.Sin(2*math.Pi*at/day)
	t.glycol = float64(k.set.Glycol) + hourGlycol*math.Sin(2*math.Pi*at/3700) - k.faults.size[Cold]
	load := k.drive.power / float64(k.set.Machine.RatedPower)
	relief := 0.0
	for j := range k.flow.worn {
		relief += 40 * k.flow.worn[j].relief
	}
	if k.drive.speed == 0 {
		relief = 0
	}
	t.oil = toward(t.oil, t.ambient+oilRise*math.Min(1, load/0.7)+relief+k.faults.size[ExtraHeat], oilTime)
	t.heatsink = toward(t.heatsink, t.ambient+sinkRise*load, sinkTime)
}

func (t *heat) oilT() quantity.Celsius { return quantity.Celsius(t.oil) }

// lineLoss is the friction of the flow q m³/s in a line, in Pa: the larger of
// Hagen–Poiseuille (f = 64/Re) and Blasius (f = 0.316/Re^¼).
func (k *Skid) lineLoss(l Line, q float64) float64 {
	if q == 0 {
		return 0
	}
	bore := float64(l.Bore)
	v := q / (math.Pi / 4 * bore * bore)
	re := k.density * math.Abs(v) * bore / k.viscosity
	f := math.Max(64/re, 0.316/math.Sqrt(math.Sqrt(re)))
	return f * float64(l.Length) / bore * k.density * v * math.Abs(v) / 2
}
