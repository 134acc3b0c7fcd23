package simulator

import (
	"math"
	"math/cmplx"
	"testing"
)

// An order is one line of a spectrum: percent of the mean flow and degrees in
// cos(kθ + φ). A phase of −999 is not stated.
type order struct {
	k               int
	percent, degree float64
}

const anyPhase = -999

// flowOrders is the spectrum of the ideal flow, in parts of its own mean.
func flowOrders(m Mechanism, heads [Cylinders]idealHead) []complex128 {
	flow := make([]float64, 14400)
	for i := range flow {
		flow[i] = idealFlow(m, &heads, 2*math.Pi*(float64(i)+0.5)/float64(len(flow)))
	}
	out := orders(flow, 18)
	for k := 1; k < len(out); k++ {
		// The samples stand half a step later than orders takes them.
		out[k] *= cmplx.Rect(1, -math.Pi*float64(k)/float64(len(flow)))
	}
	return out
}

// Orders of the ideal triplex, worked from slider-crank kinematics. A sine has
// 6x, 12x, 18x only: 2/35, 2/143 and 2/323 of the mean, in closed form from the
// half-rectified sine.
func TestOrdersOfTheIdealPump(t *testing.T) {
	away, towards := Mechanism{DischargeAway, 5}, Mechanism{DischargeTowards, 5}
	healthy := idealHead{displacement: 1}
	with := func(h idealHead, first idealHead) [Cylinders]idealHead {
		heads := alike(h)
		heads[0] = first
		return heads
	}
	late := func(part float64) idealHead { return idealHead{displacement: 1, late: part} }
	tests := []struct {
		name  string
		m     Mechanism
		heads [Cylinders]idealHead
		mean  float64 // of the flow the percentages refer to; 0 is its own
		want  []order
	}{
		{"sine", Mechanism{Sine, 0}, alike(healthy), 0, []order{{1, 0, anyPhase}, {2, 0, anyPhase}, {3, 0, anyPhase}, {6, 5.714, 180}, {9, 0, anyPhase}, {12, 1.399, 180}, {18, 0.619, 180}}},
		{"rod ratio 6", Mechanism{DischargeAway, 6}, alike(healthy), 0, []order{{3, 6.747, 0}, {6, 5.714, 180}, {9, 0.432, anyPhase}}},
		{"rod ratio 5, discharge away", away, alike(healthy), 0, []order{{1, 0, anyPhase}, {2, 0, anyPhase}, {3, 8.140, 0}, {6, 5.714, 180}, {9, 0.519, anyPhase}, {12, 1.399, 180}}},
		{"rod ratio 5, discharge towards turns 3x by half a turn", towards, alike(healthy), 0, []order{{3, 8.140, 180}, {6, 5.714, 180}}},
		{"rod ratio 4", Mechanism{DischargeAway, 4}, alike(healthy), 0, []order{{3, 10.278, 0}, {6, 5.714, 180}, {9, 0.648, anyPhase}}},
		{"one head dead", away, with(healthy, idealHead{}), 1, []order{{1, 52.55, anyPhase}, {2, 22.84, anyPhase}, {3, 5.43, anyPhase}, {6, 3.81, anyPhase}}},
		{"all late by 5 % of the stroke", away, alike(late(0.05)), 0, []order{{1, 0, anyPhase}, {3, 8.94, 68}, {6, 7.62, 108}, {9, 6.34, 0}}},
		{"all late by 5 %, discharge towards", towards, alike(late(0.05)), 0, []order{{3, 17.08, 154}, {6, 10.22, 121}, {9, 6.61, 37}}},
		{"one late by 8 % instead of 5 %", away, with(late(0.05), late(0.08)), 0, []order{{1, 2.13, 147}, {2, 2.12, 115}, {3, 11.10, 71}, {6, 6.76, 93}}},
		{"one late by 20 % instead of 5 %", away, with(late(0.05), late(0.20)), 0, []order{{1, 10.96, 135}, {2, 10.62, 90}, {3, 19.09, 56}}},
		{"one head displaces 1 % less", away, with(healthy, idealHead{displacement: 0.99}), 0, []order{{1, 0.53, 85}, {2, 0.23, -13}, {3, 8.14, 0}}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got := flowOrders(tt.m, tt.heads)
			mean := tt.mean
			if mean == 0 {
				mean = real(got[0])
			}
			for _, w := range tt.want {
				compare(t, got[w.k]/complex(mean, 0), w, 0.02)
			}
		})
	}
}

// compare is within 0.006 % and part of the amplitude, and 1.5° of the phase.
func compare(t *testing.T, got complex128, w order, part float64) {
	t.Helper()
	percent, degree := 100*cmplx.Abs(got), cmplx.Phase(got)*180/math.Pi
	if math.Abs(percent-w.percent) > 0.006+part*w.percent {
		t.Errorf("%dx is %.3f %%, want %.3f %%", w.k, percent, w.percent)
	}
	if w.degree == anyPhase {
		return
	}
	if off := math.Remainder(degree-w.degree, 360); math.Abs(off) > 1.5 {
		t.Errorf("%dx is at %.1f°, want %.1f°", w.k, degree, w.degree)
	}
}

// A leak q during half a turn lowers the mean by q/2 and adds 1x of (2/π)q, 3x
// of 0.2122 q and no even orders: the Fourier series of a square wave. The six
// valves stand 60° apart.
func TestALeakNamesItsValveByPhase(t *testing.T) {
	m := Mechanism{DischargeAway, 5}
	healthy := flowOrders(m, alike(idealHead{displacement: 1}))
	const q = 0.05 // of one cylinder's mean flow
	phases := []struct {
		side string
		at   [Cylinders]float64
	}{
		{"suction", [...]float64{90, -30, -150}},
		{"discharge", [...]float64{-90, 150, 30}},
	}
	for _, p := range phases {
		for j, degree := range p.at {
			heads := alike(idealHead{displacement: 1})
			if p.side == "suction" {
				heads[j].dischargeLoss = q // a suction valve leaks while its cylinder discharges
			} else {
				heads[j].suctionLoss = q
			}
			got := flowOrders(m, heads)
			if loss := real(healthy[0] - got[0]); math.Abs(loss-q/Cylinders/2) > 1e-6 {
				t.Errorf("%s valve %d: mean falls by %.6f, want %.6f", p.side, j, loss, q/Cylinders/2)
			}
			for _, w := range []order{{1, 100 * 2 / math.Pi * q / Cylinders, degree}, {2, 0, anyPhase}, {3, 100 * 0.2122 * q / Cylinders, anyPhase}, {4, 0, anyPhase}} {
				compare(t, got[w.k]-healthy[w.k], w, 0.002)
			}
		}
	}
}
