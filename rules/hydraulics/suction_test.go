package hydraulics_test

import (
	"math"
	"testing"

	"pumpside/drivers/quantity"
	"pumpside/rules/hydraulics"
	"pumpside/rules/pump"
)

// Handbook constants C (Hydraulic Institute 6.1–6.5; values from memory):
// simplex 0.400, duplex 0.200, triplex 0.066, quintuplex 0.040, septuplex
// 0.028, nonuplex 0.022. The columns are calculated; L/r = 5 rounds to them.
func TestAccelerationFactor(t *testing.T) {
	for cylinders, want := range map[int][2]float64{
		1: {0.3948, 0.3290}, 2: {0.1974, 0.1645}, 3: {0.0658, 0.0548},
		5: {0.0395, 0.0329}, 7: {0.0282, 0.0235}, 9: {0.0219, 0.0183},
	} {
		near(t, "L/r = 5", hydraulics.AccelerationFactor(crank(5, pump.Away), cylinders), want[0], 6e-5)
		near(t, "sine", hydraulics.AccelerationFactor(sine, cylinders), want[1], 6e-5)
	}
}

// h = L·V·n·C/(k·g), in feet with g = 32.2 ft/s² in the published examples,
// hence the tolerance of 0.1 %.
func TestAccelerationHead(t *testing.T) {
	tests := []struct {
		name    string
		l, v, n float64 // ft, ft/s, rpm
		k, want float64 // want in ft
	}{
		{"25 ft, 2 ft/s, 300 rpm of glycol", 25, 2, 300, 1.5, 20.497},
		{"20 ft, 1.5 ft/s, 360 rpm of glycol", 20, 1.5, 360, 1.5, 14.758},
		{"10 ft, 3 ft/s, 400 rpm of deaerated water", 10, 3, 400, 1.4, 17.569},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got := hydraulics.AccelerationHead(quantity.Meters(tt.l*foot), quantity.MetersPerSecond(tt.v*foot), quantity.RevolutionsPerMinute(tt.n), 0.066, tt.k)
			near(t, "ft", float64(got)/foot, tt.want, 1e-3*tt.want)
		})
	}
	got := hydraulics.AccelerationHead(25*foot, 2*foot, 300, 0.066, hydraulics.GlycolLiquid)
	near(t, "first example in m", got, 6.2525, 5e-5)
}

// (p − p_v)·2.31/SG + z − h_f − h_a with 14.7 and 0.02 psia, SG 1.11, 5 ft of
// level, 1 ft of friction: 14.053 ft (calculated). A psi is 2.31 ft of water there.
func TestNetPositiveHead(t *testing.T) {
	const water = psi / (2.31 * foot * quantity.StandardGravity)
	s := hydraulics.Suction{
		SurfaceAbsolute: 14.7 * psi, VaporAbsolute: 0.02 * psi, Density: 1.11 * water,
		Level: 5 * foot, Friction: 1 * foot, Acceleration: 20.497 * foot,
	}
	near(t, "ft", float64(s.NetPositiveHead())/foot, 14.053, 6e-4)
	near(t, "margin in ft", float64(hydraulics.NetPositiveMargin(s.NetPositiveHead(), 10*foot))/foot, 4.053, 6e-4)
}

// The same liquid seen by a gauge at the flange: level and friction are in
// the reading, and velocity head, which the gauge does not see, comes back.
func TestNetPositiveHeadAtFlangeAgreesWithTheVessel(t *testing.T) {
	const density, v = 1110.0, 0.6
	vessel := hydraulics.Suction{SurfaceAbsolute: hydraulics.StandardAtmosphere, VaporAbsolute: 140, Density: density, Level: 1.5, Friction: 0.3, Acceleration: 6}
	gauge := density * quantity.StandardGravity * (1.5 - 0.3 - v*v/(2*quantity.StandardGravity))
	got := hydraulics.NetPositiveHeadAtFlange(quantity.Pascals(gauge), hydraulics.StandardAtmosphere, 140, density, v, 6)
	near(t, "m", got, vessel.NetPositiveHead(), 1e-9)
}

func TestVelocityInTheSuctionLine(t *testing.T) {
	l := hydraulics.SuctionLine{Bore: 0.05}
	near(t, "m/s", l.Velocity(quantity.CubicMetersPerSecond(math.Pi/4*0.05*0.05)), 1, 1e-12)
}
