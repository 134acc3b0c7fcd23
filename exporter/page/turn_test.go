package page

import (
	"math"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"pumpside/drivers"
	"pumpside/drivers/quantity"
	"pumpside/rules"
	"pumpside/rules/alarm"
	"pumpside/rules/diagnosis"
	"pumpside/rules/service"
)

func curveOf(amplitude, order float64) (y []float32) {
	for i := range 72 {
		y = append(y, float32(amplitude*math.Cos(order*2*math.Pi*(float64(i)+0.5)/72)))
	}
	return y
}

func TestTurnIsDrawnAboutItsMean(t *testing.T) {
	pump := &Pump{&Plate{Cylinders: 3}, &rules.Snapshot{Running: alarm.Yes, Condition: &rules.ConditionView{
		Changed: []string{"discharge_order_1"}, Orders: []rules.OrderView{{Order: 1, Moved: true}},
		Waveform: &rules.WaveformView{Zero: rules.ZeroCylinder1, Mean: 7e6, Now: curveOf(1e5, 1), Learned: curveOf(5e4, 1)},
	}}}
	p := turnOf(viewer{Units: alarm.Metric}, pump)
	if p.Top != "100" || p.Mean.String() != "7000 kPa" || len(p.Strokes) != 3 || p.Old {
		t.Errorf("scale ±%s about %v, %v, old %t", p.Top, p.Mean, p.Strokes, p.Old)
	}
	// The highest point, half a part of a turn after 0°, is at the top; the
	// curve enters the box from the last part of the turn before.
	if want := "M-2.5 0.0L2.5 0.0L7.5 0.4"; !strings.HasPrefix(p.Now, want) {
		t.Errorf("now %.40s, want %s", p.Now, want)
	}
	if !strings.HasSuffix(p.Between, "L-2.5 25.0z") || !strings.HasPrefix(p.Between, p.Now+"L362.5 25.0") {
		t.Errorf("what lies between goes now forth and learned back: %s", p.Between)
	}
	if got := p.Rows[0]; got != (turnRow{"0", "99.9", "50.0", "50.0"}) { // 100·cos 2.5° = 99.9
		t.Errorf("at 0°: %+v", got)
	}
	if got := p.Rows[6]; got != (turnRow{"90", "0.0", "0.0", "0.0"}) {
		t.Errorf("at 90°: %+v", got)
	}
	if got := p.Rows[12]; got != (turnRow{"180", "−99.9", "−50.0", "−50.0"}) {
		t.Errorf("at 180°: %+v", got)
	}
}

func TestTurnWithoutWhatIsMissing(t *testing.T) {
	pump := &Pump{&Plate{Cylinders: 3}, &rules.Snapshot{Running: alarm.No, Condition: &rules.ConditionView{}}}
	if p := turnOf(viewer{}, pump); !strings.HasPrefix(p.Why, "Nothing to draw") || p.Now != "" {
		t.Errorf("without a measurement: %+v", p)
	}
	pump.Condition.Waveform = &rules.WaveformView{Zero: rules.ZeroRipple, Mean: 7e6, Now: curveOf(0, 1)}
	p := turnOf(viewer{}, pump)
	if p.Learned != "" || p.Between != "" || len(p.Strokes) > 0 || p.Rows[0].Learned != "--" || !p.Old {
		t.Errorf("not learned, no index, standing: %+v", p)
	}
	if strings.Contains(p.Now, "NaN") || p.Top != "1.0" {
		t.Errorf("a flat curve: ±%s, %.40s", p.Top, p.Now)
	}
	pump.Condition = nil
	if turnOf(viewer{}, pump) != nil {
		t.Error("a pump that is not watched has no turn")
	}
}

func TestOrdersAreComparedAsVectors(t *testing.T) {
	unit, _ := unitOf(alarm.Metric, "", quantity.Pressure)
	rows := orderRows(unit, []rules.OrderView{
		{Order: 1, Sigma: 100, Now: &rules.VectorView{Amplitude: 3e3, Degrees: 90}, Learned: &rules.VectorView{Amplitude: 4e3}, Moved: true},
		{Order: 3, Amplitude: 8e3},
	})
	// 3 and 4 at a right angle are 5 apart, though their lengths differ by 1.
	if r := rows[0]; r != (orderRow{Order: 1, Width: 37.5, LearnedAt: 50, HasLearned: true, Moved: true, Now: "3.0", Error: "0.1", Learned: "4.0", Apart: "5.0"}) {
		t.Errorf("order 1: %+v", r)
	}
	if r := rows[1]; r.Width != 100 || r.Learned != "--" || r.Apart != "--" {
		t.Errorf("order 3: %+v", r)
	}
}

func TestScalesAreRound(t *testing.T) {
	for x, want := range map[float64]float64{0: 1, 0.03: 0.03, 1: 1, 1.2: 1.5, 4.4: 5, 51: 70, 110: 150, 610: 700, math.Inf(1): 1} {
		if got := nice(x); math.Abs(got-want) > 1e-9 {
			t.Errorf("nice(%v) = %v, want %v", x, got, want)
		}
	}
}

func TestEfficiencyIsSaidProperly(t *testing.T) {
	measured := []rules.SignalView{{Signal: drivers.GlycolFlow, Quality: drivers.Good}}
	for _, tt := range []struct {
		name    string
		signals []rules.SignalView
		running alarm.Known
		e       rules.Number
		want    string // value and note
	}{
		{"a pump that runs well", measured, alarm.Yes, rules.Number{Known: true, Value: 0.934}, "93.4 % "},
		{"a pump that stands has none", measured, alarm.No, rules.Number{Known: true, Value: -0.0007}, "-- % none while the pump is stopped"},
		{"a flow just below zero is no negative efficiency", measured, alarm.Yes, rules.Number{Known: true, Value: -0.0007}, "0.0 % it turns and nothing comes out"},
		{"more than is displaced", measured, alarm.Yes, rules.Number{Known: true, Value: 1.2}, "120.0 % more than it displaces: the flow meter or the geometry is wrong"},
		{"not settled", measured, alarm.Yes, rules.Number{}, "-- % not known yet: the pump has not run steadily for long enough"},
		{"without a flow meter there is no such line", nil, alarm.Yes, rules.Number{}, ""},
	} {
		t.Run(tt.name, func(t *testing.T) {
			pump := &Pump{&Plate{}, &rules.Snapshot{Running: tt.running, Signals: tt.signals, Condition: &rules.ConditionView{Efficiency: tt.e}}}
			row, ok := efficiencyRow(pump)
			got := ""
			if ok {
				got = row.Value.String() + " " + row.Note
			}
			if got != tt.want {
				t.Errorf("got %q, want %q", got, tt.want)
			}
		})
	}
}

func TestNumbersAreNeverNegativeZero(t *testing.T) {
	for _, tt := range []struct {
		x        float64
		decimals int
		want     string
	}{{-0.04, 1, "0.0"}, {-0.4, 0, "0"}, {-0.06, 1, "−0.1"}, {math.Copysign(0, -1), 2, "0.00"}, {math.NaN(), 1, "--"}, {math.Inf(-1), 0, "--"}, {-12345.6, 1, "−12\u202f345.6"}, {9999, 0, "9999"}} {
		if got := fixed(tt.x, tt.decimals); got != tt.want {
			t.Errorf("fixed(%v, %d) = %q, want %q", tt.x, tt.decimals, got, tt.want)
		}
	}
	if got := percent(-0.004); got != "0" {
		t.Errorf("percent(-0.004) = %q", got)
	}
}

func TestWearIsToldWithWhatItIsMeasuredAgainst(t *testing.T) {
	pump := &Pump{&Plate{}, &rules.Snapshot{
		Running: alarm.Yes, LeakDown: &rules.LeakDownView{Stops: 7, Newest: 0.12, Usual: 0.08, Known: true, Learned: 0.05, Limit: 0.15}, Score: service.Score{Place: 3, Wrong: 1},
		Condition: &rules.ConditionView{
			Leak: diagnosis.Size{Low: 0.03, Middle: 0.05, High: 0.08}, Power: rules.Number{Known: true, Value: 2600}, SuctionMargin: rules.Number{Known: true, Value: -0.3},
			Trends: []rules.IndicatorTrend{{Indicator: "leak", Days: 12.4, First: 0.02, Last: 0.051, Limit: 0.2, Clear: true}, {Indicator: "noise"}},
		},
	}}
	var got []string
	for _, row := range conditionOf(viewer{Units: alarm.Metric}, pump).Rows {
		got = append(got, row.Title+": "+row.Value.String()+" ("+row.Note+")")
	}
	want := []string{
		"Flow lost in one head: 5 % (of that head's flow; between 3 and 8 %)",
		"Hydraulic power: 2.6 kW ()",
		"Suction head beyond what the pump needs: −0.3 m (below zero: it cavitates)",
		"Pressure lost in the minute after a stop: 12 % (learned 5 %, too much from 15 %; 7 stops measured)",
		"Course of leak: 5.1 % (from 2.0 % over 12 days of running; a visit does not wait beyond 20.0 %)",
		"The diagnosis named the right place: 75 % (of 4 findings that people looked at)",
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("rows (-want +got):\n%s", d)
	}
}

func TestRepairAndOilInWords(t *testing.T) {
	pump := &Pump{&Plate{Titles: map[string]string{"valves": "check valves"}}, &rules.Snapshot{
		Repair: &rules.RepairView{Task: "valves", Verdict: "cannot_tell", Why: "the line was changed"}, OilUse: &service.OilUse{Before: 0.8, Lately: 0.84},
	}}
	got := followedOf(viewer{}, pump)
	if got.Repair != "last repair, check valves of never: nobody can tell whether it held (the line was changed)" || got.Failed {
		t.Errorf("repair %+v", got)
	}
	if got.Oil != "oil topped up: 0.8 L in 1000 h run lately, 0.8 L before" || got.Rising {
		t.Errorf("oil %+v", got)
	}
	pump.Repair.Verdict, pump.OilUse = "not_repaired", nil
	if got := followedOf(viewer{}, pump); !got.Failed || got.Oil != "" {
		t.Errorf("%+v", got)
	}
	if got := followedOf(viewer{}, &Pump{&Plate{}, &rules.Snapshot{}}); got != (followedPart{}) {
		t.Errorf("nothing to follow: %+v", got)
	}
}
