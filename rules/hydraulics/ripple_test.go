package hydraulics_test

import (
	"fmt"
	"math"
	"math/cmplx"
	"testing"

	"pumpside/drivers/quantity"
	"pumpside/rules/hydraulics"
	"pumpside/rules/pump"
)

// Karassik et al., Pump Handbook, power pumps: triplex +6/−17 %, quadruplex
// +11/−22, quintuplex +2/−5, sextuplex +5/−9, septuplex +1/−3, nonuplex +1/−2
// at L/r about 6 (table from memory; the figures here are calculated and
// round to it).
func TestFlowVariation(t *testing.T) {
	tests := []struct {
		cylinders int
		rods      [4][2]float64 // per cent above and below, for sine and L/r = 6, 5, 4
	}{
		{2, [4][2]float64{{57.1, -100}, {59.3, -100}, {60.2, -100}, {61.9, -100}}},
		{3, [4][2]float64{{4.72, -9.31}, {6.17, -16.95}, {6.80, -18.52}, {7.95, -20.92}}},
		{4, [4][2]float64{{11.07, -21.46}, {11.07, -21.46}, {11.07, -21.46}, {11.07, -21.46}}},
		{5, [4][2]float64{{1.66, -3.31}, {1.86, -5.20}, {1.95, -5.57}, {2.10, -6.11}}},
		{6, [4][2]float64{{4.72, -9.31}, {4.72, -9.31}, {4.72, -9.31}, {4.72, -9.31}}},
		{7, [4][2]float64{{0.84, -1.68}, {0.93, -2.58}, {0.97, -2.76}, {1.03, -3.03}}},
		{9, [4][2]float64{{0.51, -1.02}, {0.56, -1.55}, {0.58, -1.65}, {0.62, -1.81}}},
	}
	for _, tt := range tests {
		for i, rod := range []quantity.Ratio{0, 6, 5, 4} {
			for _, d := range []pump.Direction{pump.Away, pump.Towards} {
				m := crank(rod, d)
				if rod == 0 {
					m = sine
				}
				t.Run(fmt.Sprintf("%d cylinders, L/r %v %v", tt.cylinders, rod, d), func(t *testing.T) {
					tolerance := 0.006
					if tt.cylinders == 2 {
						tolerance = 0.06
					}
					above, below := hydraulics.FlowVariation(m, tt.cylinders)
					near(t, "above", 100*float64(above), tt.rods[i][0], tolerance)
					near(t, "below", 100*float64(below), tt.rods[i][1], tolerance)
				})
			}
		}
	}
}

// Half-rectified sine: a_k = 2/(k²−1) of the mean for even k, exactly.
func TestOrdersOfASinePumpAreClosedForms(t *testing.T) {
	for k := 1; k <= 18; k++ {
		want := 0.0
		if k%6 == 0 {
			want = 2 / float64(k*k-1)
		}
		near(t, fmt.Sprintf("order %d", k), cmplx.Abs(hydraulics.FlowOrder(sine, 3, k)), want, 1e-11)
	}
}

// Orders of a triplex by rod ratio, per cent of mean flow (calculated).
func TestOrdersOfACrankPump(t *testing.T) {
	tests := []struct {
		rod   quantity.Ratio
		order map[int]float64
	}{
		{6, map[int]float64{1: 0, 2: 0, 3: 6.747, 4: 0, 6: 5.714, 9: 0.432, 12: 1.399, 18: 0.619}},
		{5, map[int]float64{3: 8.140, 6: 5.714, 9: 0.519, 12: 1.399, 18: 0.619}},
		{4, map[int]float64{3: 10.278, 6: 5.714, 9: 0.648, 12: 1.399, 18: 0.619}},
	}
	for _, tt := range tests {
		for k, want := range tt.order {
			got := hydraulics.FlowOrder(crank(tt.rod, pump.Away), 3, k)
			near(t, fmt.Sprintf("L/r %v order %d", tt.rod, k), 100*cmplx.Abs(got), want, 6e-4)
		}
	}
	for k, want := range map[int]float64{5: 1.878, 10: 2.020, 15: 0.181} {
		got := hydraulics.FlowOrder(crank(5, pump.Away), 5, k)
		near(t, fmt.Sprintf("quintuplex order %d", k), 100*cmplx.Abs(got), want, 6e-4)
	}
}

// The direction of discharge turns orders 3 and 9 by 180° and leaves 6.
func TestDirectionOfDischargeTurnsTheThirdOrder(t *testing.T) {
	tests := []struct {
		d    pump.Direction
		k    int
		want float64 // degrees
	}{
		{pump.Away, 3, 0},
		{pump.Towards, 3, 180},
		{pump.Away, 6, 180},
		{pump.Towards, 6, 180},
	}
	for _, tt := range tests {
		got := hydraulics.FlowOrder(crank(5, tt.d), 3, tt.k)
		near(t, fmt.Sprintf("%v order %d", tt.d, tt.k), turn(cmplx.Phase(got)-tt.want*math.Pi/180), 0, 1e-3)
	}
}

// One cylinder dead, L/r = 5: per cent of the healthy mean (calculated).
func TestADeadHead(t *testing.T) {
	for k, want := range map[int]float64{1: 52.55, 2: 22.84, 3: 5.43, 6: 3.81} {
		m := crank(5, pump.Away)
		got := hydraulics.FlowOrder(m, 3, k) - hydraulics.CylinderOrder(m, 3, 1, k)
		near(t, fmt.Sprintf("order %d", k), 100*cmplx.Abs(got), want, 6e-3)
	}
}

// One head displacing 1 % less: 0.53 % at 85° and 0.23 % at −13° (calculated).
func TestASmallerHead(t *testing.T) {
	for k, want := range map[int][2]float64{1: {0.53, 85}, 2: {0.23, -13}} {
		got := -0.01 * hydraulics.CylinderOrder(crank(5, pump.Away), 3, 1, k)
		near(t, fmt.Sprintf("order %d, %%", k), 100*cmplx.Abs(got), want[0], 6e-3)
		near(t, fmt.Sprintf("order %d, degrees", k), cmplx.Phase(got)*180/math.Pi, want[1], 0.6)
	}
}

// Fourier series of a half-turn step: 1× is (2/π)·q, 3× 0.2122, 5× 0.1273;
// the six valves lie 60° apart.
func TestALeakingValve(t *testing.T) {
	phases := map[pump.Position]float64{
		{Cylinder: 1, Side: pump.Suction}: 90, {Cylinder: 2, Side: pump.Suction}: -30, {Cylinder: 3, Side: pump.Suction}: -150,
		{Cylinder: 1, Side: pump.Discharge}: -90, {Cylinder: 2, Side: pump.Discharge}: 150, {Cylinder: 3, Side: pump.Discharge}: 30,
	}
	for valve, want := range phases {
		first := hydraulics.LeakOrder(3, valve, 1)
		near(t, valve.String()+" 1× phase", turn(cmplx.Phase(first)-want*math.Pi/180), 0, 1e-12)
		for k, amplitude := range map[int]float64{0: 0.5, 1: 0.6366, 2: 0, 3: 0.2122, 4: 0, 5: 0.1273} {
			near(t, fmt.Sprintf("%v order %d", valve, k), cmplx.Abs(hydraulics.LeakOrder(3, valve, k)), amplitude, 5e-5)
		}
	}
}

// turn brings an angle into −π to π.
func turn(a float64) float64 { return math.Remainder(a, 2*math.Pi) }
