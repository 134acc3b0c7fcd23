package simulator

import (
	"math"
	"testing"

	"pumpside/drivers/quantity"
)

// Triethylene glycol at the points of the gas-processing data book (from
// memory) and between them.
func TestGlycolProperties(t *testing.T) {
	tests := []struct {
		celsius       quantity.Celsius
		density, mPas float64
	}{
		{25, 1119, 37.3},
		{60, 1092, 8.77},
		{20, 1122.9, 47.2},
		{40, 1107.4, 19.3},
		{80, 1076.6, 4.4},
		{95, 1065.0, 2.7},
	}
	for _, tt := range tests {
		if got := float64(GlycolDensity(tt.celsius)); math.Abs(got-tt.density) > 0.15 {
			t.Errorf("density at %v °C is %.1f, want %.1f", tt.celsius, got, tt.density)
		}
		if got := 1e3 * float64(GlycolViscosity(tt.celsius)); math.Abs(got-tt.mPas) > 0.01*tt.mPas {
			t.Errorf("viscosity at %v °C is %.2f cP, want %.2f", tt.celsius, got, tt.mPas)
		}
	}
}

// A steady flow under a steady difference settles where the pipe's friction
// takes that difference: Hagen–Poiseuille when cold, Blasius when hot.
func TestPipeFrictionInSteadyFlow(t *testing.T) {
	const length, bore, difference = 30.0, 0.025, 40e3
	tests := []struct {
		name    string
		celsius quantity.Celsius
		want    func(density, viscosity float64) float64
	}{
		{"cold glycol flows in layers: Q = π d⁴ Δp / (128 μ L)", 10, func(_, viscosity float64) float64 {
			return math.Pi * math.Pow(bore, 4) * difference / (128 * viscosity * length)
		}},
		{"hot glycol is turbulent: Δp = 0.316 Re^−¼ · L/d · ρv²/2", 95, func(density, viscosity float64) float64 {
			v := math.Pow(difference*2*bore/(0.316*length*density)*math.Pow(density*bore/viscosity, 0.25), 1/1.75)
			return v * math.Pi / 4 * bore * bore
		}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			density, viscosity := float64(GlycolDensity(tt.celsius)), float64(GlycolViscosity(tt.celsius))
			p := newPipe(Line{Length: length, Bore: bore}, density, viscosity, 1e6, 100)
			for range 400_000 {
				p.push(1e6+difference, 1e-4)
				p.fill(1e-4)
			}
			want := tt.want(density, viscosity)
			if got := p.flow[0]; math.Abs(got-want) > 1e-3*want {
				t.Errorf("flow %.6g m³/s, want %.6g", got, want)
			}
		})
	}
}

// A closed pipe rings at a quarter wave, c/4L with c = 1/√(ρβ); with a gas
// dampener at its end it swings as mass and spring, 1/(2π√(IC)).
func TestLineResonance(t *testing.T) {
	const length, bore = 10.0, 0.025
	density := float64(GlycolDensity(80))
	area := math.Pi / 4 * bore * bore
	inertance := density * length / area
	const at = 7.1e6
	spring := func(charged, charge float64) float64 { // compliance of the gas at that pressure
		return charged * math.Pow(charge/at, 1/polytropic) / (polytropic * at)
	}
	tests := []struct {
		name string
		gas  float64 // m³ charged at 5 MPa
		want float64 // Hz
	}{
		{"bare line", 0, 1 / math.Sqrt(density*glycolCompressibility) / (4 * length)},
		{"0.3 L of gas", 0.3e-3, 1 / (2 * math.Pi * math.Sqrt(inertance*spring(0.3e-3, 5e6)))},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			k := &circuit{
				discharge: manifold{gas: tt.gas, charge: 5e6},
				suction:   manifold{liquid: 1e-3},
				out:       newPipe(Line{Length: length, Bore: bore}, density, 1e-6, at, 1),
				in:        newPipe(Line{Length: 1, Bore: bore}, density, 1e-3, 2e5, 1),
			}
			k.discharge.liquid = k.out.half()
			k.start()
			for i := range k.out.flow { // a quarter wave of flow
				x := (float64(i) + 0.5) / float64(len(k.out.flow))
				k.out.flow[i] = 1e-6 * math.Sin(math.Pi/2*x)
			}
			crossings, first, last := 0, 0.0, 0.0
			before := 0.0
			const dt = 5e-5
			for i := range 40_000 {
				k.step(0, dt, 1)
				now := k.discharge.pressure - at
				if before < 0 && now >= 0 {
					if crossings++; crossings == 1 {
						first = float64(i) * dt
					}
					last = float64(i) * dt
				}
				before = now
			}
			got := float64(crossings-1) / (last - first)
			if math.Abs(got-tt.want) > 0.04*tt.want {
				t.Errorf("rings at %.2f Hz, want %.2f", got, tt.want)
			}
		})
	}
}

func TestADampenerChargedAboveThePressureDoesNothing(t *testing.T) {
	without := manifold{liquid: 1e-3}
	over := manifold{liquid: 1e-3, gas: 1e-3, charge: 9e6}
	in := manifold{liquid: 1e-3, gas: 1e-3, charge: 5e6}
	_, a := without.content(7e6)
	_, b := over.content(7e6)
	_, c := in.content(7e6)
	if a != b {
		t.Errorf("compliance %g with the overcharged dampener, %g without any", b, a)
	}
	if c < 100*a {
		t.Errorf("compliance %g with gas at work, %g without: want far more", c, a)
	}
}
