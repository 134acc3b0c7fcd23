package diagnosis

import (
	"math"
	"math/cmplx"
	"testing"

	"pumpside/drivers/quantity"
	"pumpside/rules/hydraulics"
	"pumpside/rules/pump"
)

func mechanism(d pump.Direction) pump.Mechanism {
	return pump.Mechanism{Kind: pump.Crank, RodRatio: 5, Discharge: d}
}

func triplex() pump.Geometry {
	return pump.Geometry{
		Mechanism: mechanism(pump.Away), Cylinders: 3, Bore: 0.0254, Stroke: 0.0508, Ratio: 5, MotorRatedSpeed: 1450,
		RatedSpeed: 300, RatedPressure: 10e6, Index: pump.Index{PulsesPerRevolution: 1, AngleKnown: true}, Cylinder1: "nearest the coupling",
	}
}

// Late opening of all valves or of one, rod ratio 5, by its own mean flow:
// calculated apart with numerical integration of the slider-crank relation.
func TestOrdersOfLateValves(t *testing.T) {
	all := func(d pump.Direction, late ...float64) func(k int) complex128 {
		return func(k int) complex128 {
			var sum, mean complex128
			for j, x := range late {
				sum += lateOrder(mechanism(d), 3, j+1, x, k)
				mean += lateOrder(mechanism(d), 3, j+1, x, 0)
			}
			return sum / mean
		}
	}
	for _, tt := range []struct {
		name           string
		flow           func(int) complex128
		order          int
		percent, phase float64
	}{
		{"no lateness has the finite rod's third order", all(pump.Away, 0, 0, 0), 3, 8.14, 0},
		{"5 % late, away", all(pump.Away, 0.05, 0.05, 0.05), 3, 8.94, 68},
		{"and its sixth", all(pump.Away, 0.05, 0.05, 0.05), 6, 7.62, 108},
		{"5 % late, towards", all(pump.Towards, 0.05, 0.05, 0.05), 3, 17.08, 154},
		{"and its sixth", all(pump.Towards, 0.05, 0.05, 0.05), 6, 10.22, 121},
		{"one head 8 % late", all(pump.Away, 0.08, 0.05, 0.05), 1, 2.13, 147},
		{"and its second", all(pump.Away, 0.08, 0.05, 0.05), 2, 2.12, 115},
		{"one head 20 % late", all(pump.Away, 0.2, 0.05, 0.05), 1, 10.96, 135},
	} {
		got := tt.flow(tt.order)
		size, phase := 100*cmplx.Abs(got), cmplx.Phase(got)*180/math.Pi
		if abs(size-tt.percent) > 0.04 || abs(math.Remainder(phase-tt.phase, 360)) > 1.1 {
			t.Errorf("%s: %.2f %% at %.0f°, want %.2f %% at %.0f°", tt.name, size, phase, tt.percent, tt.phase)
		}
	}
}

// Abramowitz and Stegun, table 9.8: e⁻¹·I₀(1) = 0.4657596, e⁻⁵·I₀(5) = 0.1835408.
func TestBesselFunction(t *testing.T) {
	for x, want := range map[float64]float64{0: 1, 1: 0.4657596, 5: 0.1835408} {
		if got := math.Exp(logBessel(x) - x); abs(got-want) > 1e-6 {
			t.Errorf("exp(−%v)·I₀(%v) = %.7f, want %.7f", x, x, got, want)
		}
	}
}

// leak is the evidence of a leak behind a line of a known impedance.
func leak(m *Model, z complex128, at pump.Position, size, sigma float64) Evidence {
	e := Evidence{Speed: 300, Pressure: 7e6, Indexed: true}
	late := m.Late(e.Pressure)
	flow := complex(float64(m.Geometry.DisplacementPerRevolution())*5, 0)
	for k := 1; k <= mostOrder; k++ {
		zk := complex(real(z), imag(z)*float64(k)) * flow
		e.Orders[k] = OrderChange{Seen: true, Baseline: m.all(late, k) * zk, Sigma: sigma}
		if k%3 != 0 {
			e.Orders[k].Baseline = complex(2*sigma, sigma)
		}
		side := halfLoss(at.Side)(m, late, size, at.Cylinder)
		e.Orders[k].Delta = side.flow[k] * zk
	}
	return e
}

func known(z complex128) *Line {
	line := new(Line)
	for f := 4.0; f < 40; f *= 1.04 {
		zf := complex(real(z), imag(z)*f/5)
		line.Points = append(line.Points, LinePoint{Hertz: f, Re: real(zf), Im: imag(zf), Error: 0.05, Turns: 5})
	}
	return line
}

const inertance = complex(1e7, 1e8) // Pa by m³/s at once per turn

func TestALeakIsNamedWhenTheLineIsKnown(t *testing.T) {
	m := NewModel(triplex(), known(inertance))
	for _, valve := range m.Geometry.Valves() {
		e := leak(m, inertance, valve, 0.1, 200)
		r := m.Rank(&e)
		want := LossInDischargeHalf
		if valve.Side == pump.Discharge {
			want = LossInSuctionHalf
		}
		if got := r.Causes[0]; got.Cause != want || got.Cylinder != valve.Cylinder || got.Probability < 0.7 {
			t.Errorf("%v valve: %+v, want %s of cylinder %d", valve, r.Causes[:2], want, valve.Cylinder)
		}
		if r.Leak.Low > 0.1 || r.Leak.High < 0.1 || abs(r.Leak.Middle-0.1) > 0.03 {
			t.Errorf("%v valve: leak %.3f, want 0.1", valve, r.Leak)
		}
	}
}

// Each reason why nothing may be named makes both halves equally likely.
func TestNothingIsNamedThatCannotBe(t *testing.T) {
	for name, harm := range map[string]func(*Model){
		"line not measured":           func(m *Model) { m.Line = new(Line) },
		"no index":                    func(m *Model) { m.Geometry.Index = pump.Index{} },
		"three pulses a turn":         func(m *Model) { m.Geometry.Index.PulsesPerRevolution = 3 },
		"angle of the index unstated": func(m *Model) { m.Geometry.Index.AngleKnown = false },
		"first cylinder unstated":     func(m *Model) { m.Geometry.Cylinder1 = "" },
		"rotation unconfirmed":        func(m *Model) { m.Unconfirmed = true },
	} {
		m := NewModel(triplex(), known(inertance))
		harm(m)
		e := leak(m, inertance, pump.Position{Cylinder: 2, Side: pump.Suction}, 0.1, 200)
		r := m.Rank(&e)
		if r.Named || r.Why == "" || r.OneHead < 0.6 {
			t.Errorf("%s: named %v (%q), one head %.2f", name, r.Named, r.Why, r.OneHead)
		}
		for _, c := range r.Causes {
			if c.Cylinder != 0 || c.Probability > 0.6 {
				t.Errorf("%s: %+v", name, c)
			}
		}
	}
}

// The probabilities are some: never below 0, together 1, none of these among
// them, whatever the evidence.
func TestProbabilitiesSumToOne(t *testing.T) {
	m := NewModel(triplex(), new(Line))
	for _, e := range []Evidence{
		{Speed: 300, Pressure: 7e6},
		leak(m, inertance, pump.Position{Cylinder: 1, Side: pump.Discharge}, 1, 1),
		{Speed: 300, Pressure: 7e6, Efficiency: NumberChange{Seen: true, Baseline: 0.9, Delta: -0.2, Sigma: 0.001}},
	} {
		r := m.Rank(&e)
		sum, none := 0.0, false
		for _, c := range r.Causes {
			sum += c.Probability
			none = none || c.Cause == NoneOfThese
			if !(c.Probability >= 0) {
				t.Errorf("%+v", c)
			}
		}
		if abs(sum-1) > 1e-9 || !none {
			t.Errorf("probabilities sum to %v, none of these listed: %v", sum, none)
		}
	}
}

// Without ripple, a loss of efficiency alone is no one head's.
func TestWhatTheFlowMeterAloneSays(t *testing.T) {
	m := NewModel(triplex(), new(Line))
	e := Evidence{Speed: 300, Pressure: 7e6, Efficiency: NumberChange{Seen: true, Baseline: 0.9, Delta: -0.045, Sigma: 0.002}}
	r := m.Rank(&e)
	if r.OneHead > 0.6 || r.FromOrders.Known() {
		t.Errorf("one head %.2f from the meter alone, leak from orders %v", r.OneHead, r.FromOrders)
	}
	// 5 % of the flow is a leak of 30 % of one head's.
	if f := r.FromFlow; f.Low > 0.3 || f.High < 0.3 {
		t.Errorf("leak by the meter %v, want 0.3 within", f)
	}
	e.Bypass = On
	if r := m.Rank(&e); r.Causes[0].Cause != BypassPassing {
		t.Errorf("bypass open: %+v", r.Causes[0])
	}
}

func TestChangesThatAreNotALeak(t *testing.T) {
	m := NewModel(triplex(), known(inertance))
	healthy := leak(m, inertance, pump.Position{Cylinder: 1, Side: pump.Suction}, 0, 200)
	grow := func(by float64) Evidence {
		e := healthy
		for k := range e.Orders {
			e.Orders[k].Delta = e.Orders[k].Baseline * complex(by-1, 0)
		}
		return e
	}
	under := healthy
	for k := 1; k <= mostOrder; k++ {
		z := complex(real(inertance), imag(inertance)*float64(k)) * complex(float64(m.Geometry.DisplacementPerRevolution())*5, 0)
		under.Orders[k].Delta = -0.15 * m.head(2, m.Late(7e6), k) * z
	}
	late := healthy
	for k := 1; k <= mostOrder; k++ {
		z := complex(real(inertance), imag(inertance)*float64(k)) * complex(float64(m.Geometry.DisplacementPerRevolution())*5, 0)
		late.Orders[k].Delta = (m.head(3, 0.12, k) - m.head(3, m.Late(7e6), k)) * z
	}
	starved := grow(1.6)
	starved.Efficiency = NumberChange{Seen: true, Baseline: 0.9, Delta: -0.1, Sigma: 0.003}
	starved.Suction = NumberChange{Seen: true, Baseline: 30e3, Delta: -40e3, Sigma: 500}
	for _, tt := range []struct {
		name string
		e    Evidence
		want string
	}{
		{"the whole ripple grows, the flow stays", grow(1.8), LineChanged},
		{"one head moves less", under, SmallHead},
		{"one head is late", late, LateHead},
		{"suction falls, flow falls", starved, SuctionStarved},
	} {
		r := m.Rank(&tt.e)
		if r.Causes[0].Cause != tt.want {
			t.Errorf("%s: %+v, want %s", tt.name, r.Causes[:3], tt.want)
		}
	}
}

func TestAValveIsNeverMoreThanHalfOfAFinding(t *testing.T) {
	r := Ranking{Causes: []Ranked{{LossInDischargeHalf, 2, 1}}}
	list := r.Parts(true)
	if len(list) == 0 || list[0].Component != pump.SuctionValve || list[0].Probability > 0.5 || list[0].Position != (pump.Position{Cylinder: 2, Side: pump.Suction}) {
		t.Errorf("parts %+v", list)
	}
	total := quantity.Ratio(0)
	for _, one := range list {
		total += one.Probability
	}
	if total > 1 {
		t.Errorf("parts sum to %v", total)
	}
}

// Without lateness a leak is the textbook's: (2/π) at ±90°, no even orders, half
// of it lost from the mean.
func TestALeakOfAnIdealPump(t *testing.T) {
	m := NewModel(triplex(), new(Line))
	for _, valve := range m.Geometry.Valves() {
		for k := 1; k <= mostOrder; k++ {
			if got, want := m.leakOrder(0, valve, k), hydraulics.LeakOrder(3, valve, k); cmplx.Abs(got-want) > 1e-6 {
				t.Errorf("%v, order %d: %.4f, want %.4f", valve, k, got, want)
			}
		}
	}
}
