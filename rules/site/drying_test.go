package site_test

import (
	"math"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"pumpside/drivers/quantity"
	"pumpside/rules/alarm"
	"pumpside/rules/hydraulics"
	"pumpside/rules/site"
)

// tenMillion is 10 MMscf a day at 1,000 psi absolute and 100 °F, saturated:
// 60.40 lb/MMscf of water (ASTM D1142, after IGT RB-8), to be dried to 7 with
// 3 gallons of glycol a pound, which is 4.211 L/min. The formula for the
// vapour pressure used here gives 60.31.
var (
	tenMillion = site.Stream{Known: true, Rate: 10 * 1179.87 / 3600, Pressure: 1000*6894.757 - 101325, Temperature: (100 - 32) / 1.8}
	toSeven    = site.Drying{WaterOut: 7 * hydraulics.PoundPerMillion, Ratio: 3 * hydraulics.GallonPerPound}
)

func TestCirculationNeededByTheGas(t *testing.T) {
	got, ok := toSeven.Needed(tenMillion)
	if litres := float64(got) * 60e3; !ok || math.Abs(litres-4.211) > 0.01 {
		t.Errorf("%v L/min needed, known %v; want 4.211", litres, ok)
	}
	dry := tenMillion
	dry.Temperature = -30
	if got, ok := toSeven.Needed(dry); !ok || got != 0 {
		t.Errorf("gas that is dry already needs %v, known %v", got, ok)
	}
	for name, broken := range map[string]func(g *site.Stream){
		"an open thermocouple":          func(g *site.Stream) { g.Temperature = 3276.7 },
		"a thermometer that shorted":    func(g *site.Stream) { g.Temperature = -300 },
		"no number":                     func(g *site.Stream) { g.Temperature = quantity.Celsius(math.NaN()) },
		"a transmitter of pressure out": func(g *site.Stream) { g.Pressure = -101e3 },
		"a rate beyond every pipe":      func(g *site.Stream) { g.Rate = 1e300 },
	} {
		g := tenMillion
		broken(&g)
		if flow, ok := toSeven.Needed(g); ok {
			t.Errorf("%s: %v m³/s needed", name, flow)
		}
	}
	unknown := tenMillion
	unknown.Known = false
	if _, ok := toSeven.Needed(unknown); ok {
		t.Error("a stream nobody knows")
	}
	if _, ok := (site.Drying{}).Needed(tenMillion); ok {
		t.Error("a target nobody set")
	}
}

func TestTargetIsByTheGasAndElseByTheSetting(t *testing.T) {
	s := newStation(t, func(g *site.Group) { g.Drying, g.Target = toSeven, 14e-3/60 })
	for i := range s.pumps {
		s.pumps[i] = metered(s.pumps[i], 4)
		s.pumps[i].Stream = tenMillion
	}
	if d := cmp.Diff([]string{"raised north_circulation_low"}, s.pass(31*time.Minute, time.Second)); d != "" {
		t.Errorf("4 L/min where 4.2 are needed (-want +got):\n%s", d)
	}
	v := &s.state.Snapshot(s.set).Groups[0]
	volume, known, ok := v.NeededSince(s.batch.At.Wall.Add(-time.Hour))
	if want := 4.204e-3 / 60 * known.Seconds(); v.TargetBy != "gas" || !ok || known < 30*time.Minute || math.Abs(float64(volume)-want) > 0.002*want {
		t.Errorf("by %s, %v m³ in %v, want %v", v.TargetBy, volume, known, want)
	}
	s.pumps[0].Stream.Known, s.pumps[1].Stream.Known = false, false
	s.pass(time.Second, time.Second)
	if v := s.state.Snapshot(s.set).Groups[0]; v.TargetBy != "setting" || v.Target != 14e-3/60 {
		t.Errorf("with no news of the gas: %v by %s", v.Target, v.TargetBy)
	}
}

func TestDemandOfTheGroupIsThatOfNoSinglePump(t *testing.T) {
	group := func(p site.Pump, k alarm.Known) site.Pump { p.GroupAsked = k; return p }
	for _, tt := range []struct {
		name string
		asks alarm.Known
		want []string
	}{
		{"asked for and none runs", alarm.Yes, []string{"raised north_circulation_lost"}},
		{"not asked for", alarm.No, []string{}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			s := newStation(t, nil)
			s.pass(time.Minute, time.Second)
			s.pumps = []site.Pump{group(rests, tt.asks), group(rests, tt.asks)}
			if d := cmp.Diff(tt.want, s.pass(25*time.Minute, time.Second)); d != "" {
				t.Errorf("events (-want +got):\n%s", d)
			}
			if v := s.state.Snapshot(s.set).Groups[0]; v.Wanted != tt.asks || v.WantedBy != "run_demand" {
				t.Errorf("wanted %v by %s", v.Wanted, v.WantedBy)
			}
		})
	}
}

// What two pumps share shows at both of them that something flows back.
func TestFlowBackwardsIsOnePageOfTheGroup(t *testing.T) {
	s := newStation(t, nil)
	back := func(p site.Pump) site.Pump { p.Backwards, p.Gas = alarm.Yes, alarm.No; return p }
	s.pumps = []site.Pump{back(rests), back(rests)}
	if d := cmp.Diff([]string{"raised north_group_reverse_flow"}, s.pass(5*time.Minute, time.Second)); d != "" {
		t.Errorf("events (-want +got):\n%s", d)
	}
	if e := s.events[0]; e.Subject != "" || e.Evidence[0].Value != 2 || e.Notify != alarm.Now {
		t.Errorf("of both: %+v", e)
	}
	s = newStation(t, nil)
	s.pumps = []site.Pump{runs, back(rests)}
	s.pass(2*time.Minute, time.Second)
	s.pumps[1].Backwards = alarm.Unknown
	if got := s.pass(5*time.Minute, time.Second); len(got) > 0 {
		t.Errorf("while nobody can tell: %v", got)
	}
	if e := s.events[0]; e.Subject != "gp-2" || e.Evidence[0].Value != 1 {
		t.Errorf("of the one that stands: %+v", e)
	}
}
