package pump_test

import (
	"errors"
	"math"
	"strings"
	"testing"

	"pumpside/drivers/quantity"
	"pumpside/rules/pump"
)

func triplex() pump.Geometry {
	return pump.Geometry{
		Mechanism: away, Cylinders: 3, Bore: 0.0254, Stroke: 0.0508,
		Dead:  pump.DeadVolume{Oil: 30e-6, Liquid: 20e-6},
		Ratio: 5.8, MotorPoles: 4, MotorRatedSpeed: 1750, RatedSpeed: 350, RatedPressure: 10e6,
		Index:     pump.Index{PulsesPerRevolution: 1, AngleKnown: true},
		Cylinder1: "nearest the coupling",
	}
}

func TestAGoodPumpHasNoProblem(t *testing.T) {
	if err := triplex().Validate(); err != nil {
		t.Error(err)
	}
}

func TestValidateSaysWhatIsWrongAndWhatWouldBeRight(t *testing.T) {
	tests := []struct {
		name string
		harm func(*pump.Geometry)
		want string
	}{
		{"no mechanism", func(g *pump.Geometry) { g.Mechanism = pump.Mechanism{} }, "mechanism.kind: not stated; say crank (with rod_ratio and discharge) or sine"},
		{"no direction", func(g *pump.Geometry) { g.Mechanism.Discharge = 0 }, "mechanism.discharge: not stated; say whether the discharge stroke moves away"},
		{"rod ratio upside down", func(g *pump.Geometry) { g.Mechanism.RodRatio = 0.2 }, "mechanism.rod_ratio: 0.2 is not a rod ratio"},
		{"sine with a rod", func(g *pump.Geometry) { g.Mechanism.Kind = pump.Sine }, "mechanism.kind: a sine mechanism has no rod"},
		{"no cylinders", func(g *pump.Geometry) { g.Cylinders = 0 }, "cylinders: 0 is outside 1 to 9"},
		{"bore in millimetres", func(g *pump.Geometry) { g.Bore = 25.4 }, "bore: 25.4 m is outside 3 mm to 500 mm"},
		{"no number for stroke", func(g *pump.Geometry) { g.Stroke = quantity.Meters(math.NaN()) }, "stroke: NaN m is outside"},
		{"dead volume in litres", func(g *pump.Geometry) { g.Dead.Oil = 0.03 }, "dead_volume.oil: 0.03 m³ is outside 0 to 0.000515 m³"},
		{"ratio upside down", func(g *pump.Geometry) { g.Ratio = 0.25 }, "ratio: 0.25 would turn the pump at 7000 rpm"},
		{"no ratio", func(g *pump.Geometry) { g.Ratio = 0 }, "ratio: 0 is outside 0.2 to 200"},
		{"odd poles", func(g *pump.Geometry) { g.MotorPoles = 3 }, "motor_poles: 3 is not an even number"},
		{"pressure in bar", func(g *pump.Geometry) { g.RatedPressure = 100 }, "rated_pressure: 100 Pa is outside"},
		{"negative pulses", func(g *pump.Geometry) { g.Index.PulsesPerRevolution = -1 }, "pulses_per_revolution: -1 is outside"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			g := triplex()
			tt.harm(&g)
			err := g.Validate()
			var problems pump.Problems
			if !errors.As(err, &problems) || !strings.HasPrefix(err.Error(), tt.want) {
				t.Errorf("got %v, want %s…", err, tt.want)
			}
		})
	}
}

func TestValidateReportsEverythingAtOnce(t *testing.T) {
	var problems pump.Problems
	if !errors.As(pump.Geometry{}.Validate(), &problems) {
		t.Fatal("the zero geometry is valid")
	}
	var fields []string
	for _, p := range problems {
		fields = append(fields, p.Field)
	}
	const want = "mechanism.kind cylinders bore stroke ratio motor_rated_speed rated_speed rated_pressure"
	if got := strings.Join(fields, " "); got != want {
		t.Errorf("fields\n got %s\nwant %s", got, want)
	}
}

// 1.0 in bore, 2.0 in stroke, 3 plungers, 300 rpm: 23.1667 L/min by
// D = A·s·m·n (Hydraulic Institute 6.1–6.5; formula from memory).
func TestDisplacementPerRevolution(t *testing.T) {
	got := float64(triplex().DisplacementPerRevolution()) * 300 * 1000
	if math.Abs(got-23.1667) > 1e-4 {
		t.Errorf("%.4f L/min, want 23.1667", got)
	}
}

func TestNamingNeedsOnePulseAnAngleAndAFirstCylinder(t *testing.T) {
	tests := []struct {
		name string
		harm func(*pump.Geometry)
		want bool
	}{
		{"all known", func(*pump.Geometry) {}, true},
		{"no index", func(g *pump.Geometry) { g.Index = pump.Index{} }, false},
		{"a broken number of pulses", func(g *pump.Geometry) { g.Index.PulsesPerRevolution = 2.5 }, false},
		{"three pulses a turn", func(g *pump.Geometry) { g.Index.PulsesPerRevolution = 3 }, false},
		{"angle not stated", func(g *pump.Geometry) { g.Index.AngleKnown = false }, false},
		{"nobody said which is number one", func(g *pump.Geometry) { g.Cylinder1 = "" }, false},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			g := triplex()
			tt.harm(&g)
			if got := g.NamesCylinders(); got != tt.want {
				t.Errorf("got %v, want %v", got, tt.want)
			}
		})
	}
}
