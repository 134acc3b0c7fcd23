package pump_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"pumpside/rules/pump"
)

var (
	away    = pump.Mechanism{Kind: pump.Crank, RodRatio: 5, Discharge: pump.Away}
	towards = pump.Mechanism{Kind: pump.Crank, RodRatio: 5, Discharge: pump.Towards}
	sine    = pump.Mechanism{Kind: pump.Sine}
)

// crosshead is where the end of the rod is, by drawing the triangle of crank,
// rod and cylinder axis: the distance from the shaft when the crank pin
// stands at angle pin from the cylinder's axis (crank radius 1, rod 5).
func crosshead(pin float64) float64 {
	sin, cos := math.Sincos(pin)
	return cos + math.Sqrt(25-sin*sin)
}

func TestPositionIsThatOfTheSliderCrank(t *testing.T) {
	for deg := 0.0; deg <= 360; deg += 15 {
		a := deg * math.Pi / 180
		// Away: the stroke starts with the pin pointing away from the cylinder.
		if got, want := float64(away.Position(a)), (crosshead(math.Pi+a)-crosshead(math.Pi))/2; math.Abs(got-want) > 1e-12 {
			t.Errorf("away at %v°: %v, want %v", deg, got, want)
		}
		// Towards: it starts with the pin at the cylinder's side.
		if got, want := float64(towards.Position(a)), (crosshead(0)-crosshead(a))/2; math.Abs(got-want) > 1e-12 {
			t.Errorf("towards at %v°: %v, want %v", deg, got, want)
		}
		if got, want := float64(sine.Position(a)), (1-math.Cos(a))/2; math.Abs(got-want) > 1e-12 {
			t.Errorf("sine at %v°: %v, want %v", deg, got, want)
		}
	}
}

func TestAngleIsWherePositionIs(t *testing.T) {
	for _, m := range []pump.Mechanism{away, towards, sine} {
		for deg := 0.0; deg <= 180; deg += 5 {
			if got := m.Angle(m.Position(deg*math.Pi/180)) * 180 / math.Pi; math.Abs(got-deg) > 1e-5 {
				t.Errorf("%v: %v°, want %v°", m, got, deg)
			}
		}
		if low, high := m.Angle(-0.1), m.Angle(1.1); low != 0 || high != math.Pi {
			t.Errorf("%v: %v and %v outside the stroke, want 0 and π", m, low, high)
		}
	}
}

// sin 30°·(1 ∓ cos 30°/5/√(1 − sin² 30°/25)); the usual short form without
// the root gives 0.4134 and 0.5866.
func TestVelocityTellsAwayFromTowards(t *testing.T) {
	tests := []struct {
		name string
		m    pump.Mechanism
		deg  float64
		want float64
	}{
		{"away starts slowly", away, 30, 0.4130},
		{"away ends fast", away, 150, 0.5870},
		{"towards starts fast", towards, 30, 0.5870},
		{"towards ends slowly", towards, 150, 0.4130},
		{"sine is the same at both ends", sine, 30, 0.5},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if got := tt.m.Velocity(tt.deg * math.Pi / 180); math.Abs(got-tt.want) > 5e-5 {
				t.Errorf("velocity at %v° = %.4f, want %.4f", tt.deg, got, tt.want)
			}
		})
	}
}

func TestVelocityAndAccelerationAreTheSlopesOfPosition(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := rapid.SampledFrom([]pump.Mechanism{away, towards, sine}).Draw(t, "mechanism")
		a := rapid.Float64Range(-10, 10).Draw(t, "angle")
		const h = 1e-5
		slope := float64(m.Position(a+h)-m.Position(a-h)) / h // x/2r, so v/(rω) is twice d/da
		if math.Abs(slope-m.Velocity(a)) > 1e-6 {
			t.Errorf("slope %v, velocity %v", slope, m.Velocity(a))
		}
		slope = (m.Velocity(a+h) - m.Velocity(a-h)) / (2 * h)
		if math.Abs(slope-m.Acceleration(a)) > 1e-6 {
			t.Errorf("slope of velocity %v, acceleration %v", slope, m.Acceleration(a))
		}
	})
}
