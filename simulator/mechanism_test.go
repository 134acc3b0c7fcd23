package simulator

import (
	"fmt"
	"math"
	"testing"
)

// crosshead finds, by bisection, how far out of the crank's centre a crosshead
// stands whose rod of length rod reaches the pin of a crank of radius 1.
func crosshead(pinX, pinY, rod float64) float64 {
	near, far := pinX, pinX+rod+1
	for range 100 {
		middle := (near + far) / 2
		if math.Hypot(middle-pinX, pinY) < rod {
			near = middle
		} else {
			far = middle
		}
	}
	return (near + far) / 2
}

// The place of the plunger is compared with the geometry itself: a pin on a
// circle, a rod of fixed length, a crosshead on a straight line.
func TestPositionIsThatOfARodOnACrank(t *testing.T) {
	for _, ratio := range []float64{3.5, 4, 5, 6} {
		for degrees := 0.0; degrees <= 360; degrees += 15 {
			a := degrees * math.Pi / 180
			// Discharge away from the crank starts with the pin nearest to the
			// heads' far side: pin at −1, crosshead at rod − 1.
			away := (crosshead(-math.Cos(a), math.Sin(a), ratio) - (ratio - 1)) / 2
			towards := ((ratio + 1) - crosshead(math.Cos(a), math.Sin(a), ratio)) / 2
			check := func(motion Motion, want float64) {
				got := Mechanism{Motion: motion, RodRatio: ratio}.Position(a)
				if math.Abs(got-want) > 1e-9 {
					t.Errorf("motion %d, rod ratio %v, %v°: position %.9f, geometry %.9f", motion, ratio, degrees, got, want)
				}
			}
			check(DischargeAway, away)
			check(DischargeTowards, towards)
		}
	}
}

func TestHalfTurnPosition(t *testing.T) {
	tests := []struct {
		name string
		m    Mechanism
		want float64 // at 90°
	}{
		// 90°: √(L²−r²) = 4.898979 r, so x = (1 − (5 − 4.898979))/2 for L/r = 5.
		{"away: less than half the stroke in the first quarter turn", Mechanism{DischargeAway, 5}, 0.449489743},
		{"towards: more than half", Mechanism{DischargeTowards, 5}, 0.550510257},
		{"sine: just half", Mechanism{Motion: Sine}, 0.5},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if got := tt.m.Position(math.Pi / 2); math.Abs(got-tt.want) > 1e-9 {
				t.Errorf("position %.9f, want %.9f", got, tt.want)
			}
		})
	}
}

func TestVelocityIsTheDerivativeOfPosition(t *testing.T) {
	for _, m := range []Mechanism{{DischargeAway, 5}, {DischargeTowards, 4}, {Sine, 0}} {
		for a := 0.1; a < 6.2; a += 0.1 {
			const d = 1e-6
			want := (m.Position(a+d) - m.Position(a-d)) / (2 * d)
			if got := m.Velocity(a); math.Abs(got-want) > 1e-8 {
				t.Errorf("%+v at %.1f: velocity %.8f, slope of position %.8f", m, a, got, want)
			}
		}
	}
}

// Flow variation of an ideal triplex, percent of its mean. Worked from the
// kinematics; the row L/r = 6 is the handbooks' +6/−17/23 (Karassik et al.,
// Pump Handbook, power pumps, from memory).
func TestFlowVariationByRodRatio(t *testing.T) {
	tests := []struct {
		m           Mechanism
		above, down float64
	}{
		{Mechanism{Sine, 0}, 4.72, -9.31},
		{Mechanism{DischargeAway, 6}, 6.17, -16.95},
		{Mechanism{DischargeAway, 5}, 6.80, -18.52},
		{Mechanism{DischargeAway, 4}, 7.95, -20.92},
		{Mechanism{DischargeTowards, 5}, 6.80, -18.52},
	}
	for _, tt := range tests {
		t.Run(fmt.Sprintf("motion %d rod ratio %v", tt.m.Motion, tt.m.RodRatio), func(t *testing.T) {
			heads := alike(idealHead{displacement: 1})
			high, low := 0.0, 2.0
			for i := range 7200 {
				q := idealFlow(tt.m, &heads, 2*math.Pi*float64(i)/7200)
				high, low = math.Max(high, q), math.Min(low, q)
			}
			if math.Abs(100*(high-1)-tt.above) > 0.01 || math.Abs(100*(low-1)-tt.down) > 0.01 {
				t.Errorf("%+.2f / %+.2f %%, want %+.2f / %+.2f %%", 100*(high-1), 100*(low-1), tt.above, tt.down)
			}
		})
	}
}

func alike(h idealHead) [Cylinders]idealHead { return [Cylinders]idealHead{h, h, h} }
