package regmap_test

import (
	"testing"
	"time"

	"pumpside/drivers"
	"pumpside/drivers/regmap"
)

// A watched device has the signal under test in register 0 and, in register 1,
// one that shows whether the pump works.
func watched(signal regmap.Point, witness regmap.Point) regmap.Map {
	signal.Name, witness.Name, witness.Address = "signal", "witness", 1
	return regmap.Map{Points: []regmap.Point{signal, witness}}
}

func measured(t *testing.T, symbol string) regmap.Point {
	p := point(regmap.Uint16, regmap.NoOrder)
	p.Unit = unit(t, symbol)
	return p
}

// The witness counts from its fourth movement, at 4 s: the step up to there is
// the first second of standing still, and more than the limit is one more.
func TestFrozenSignals(t *testing.T) {
	ripple := func(i int) uint16 { return uint16(i * 7919) }
	constant := func(x uint16) func(int) uint16 { return func(int) uint16 { return x } }
	never := -1
	pressure, current, temperature := measured(t, "kPa"), measured(t, "A"), measured(t, "°C")
	unwatched := pressure
	unwatched.FrozenAfter = -1
	impatient := temperature
	impatient.FrozenAfter = 20 * time.Second
	atFourMilliamperes := loopPoint(t)

	tests := []struct {
		name            string
		signal, witness regmap.Point
		signalAt        func(second int) uint16
		witnessAt       func(second int) uint16
		frozenFrom      int // the first second with a frozen signal; never
	}{
		{"more than 10 minutes the same while another signal moves", pressure, current, constant(700), ripple, 604},
		{"an own time", impatient, current, constant(80), ripple, 24},
		{"a temperature has an hour", temperature, current, constant(80), ripple, 3604},
		{"both stand: the pump stands", pressure, current, constant(700), constant(5), never},
		{"the other one only flickers in its last digit", pressure, temperature, constant(700), func(i int) uint16 { return 80 + uint16(i%2) }, never},
		{"the other one only drifts, a digit in 8 s", pressure, temperature, constant(700), func(i int) uint16 { return 80 + uint16(i/8) }, never},
		{"a counter that ticks proves nothing", pressure, measured(t, "h"), constant(700), ripple, never},
		{"zero is a pump without pressure", pressure, current, constant(0), ripple, never},
		{"4 mA is a loop without pressure", atFourMilliamperes, current, constant(4000), ripple, never},
		{"a loop elsewhere", atFourMilliamperes, current, constant(9000), ripple, 604},
		{"one digit of movement in time", pressure, current, func(i int) uint16 { return 700 + uint16(i/500) }, ripple, never},
		{"a speed is held by the drive", measured(t, "rpm"), current, constant(1450), ripple, never},
		{"a count is no measurement", point(regmap.Uint16, regmap.NoOrder), current, constant(3), ripple, never},
		{"a status word", point(regmap.Status402, regmap.NoOrder), current, constant(0x237), ripple, never},
		{"the row says never", unwatched, current, constant(700), ripple, never},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			d := regmap.NewDecoder(watched(tt.signal, tt.witness))
			first := never
			var values []regmap.Value
			for i := 0; i < 4000 && first == never; i++ {
				answer := regmap.Answer{Table: regmap.Holding, Words: registers{tt.signalAt(i), tt.witnessAt(i)}}
				values = d.Decode(values[:0], at(time.Duration(i)*time.Second), answer)
				if sight(values[0]) == frozen {
					first = i
				}
				if sight(values[1]) == frozen {
					t.Fatalf("the witness is frozen at %d s", i)
				}
			}
			if first != tt.frozenFrom {
				t.Errorf("frozen from %d s, want %d", first, tt.frozenFrom)
			}
		})
	}
}

func TestAFrozenSignalThatMovesIsGoodAgain(t *testing.T) {
	d := regmap.NewDecoder(watched(measured(t, "kPa"), measured(t, "A")))
	read := func(second int, signal uint16) regmap.Value {
		answer := regmap.Answer{Table: regmap.Holding, Words: registers{signal, uint16(second * 7919)}}
		return d.Decode(nil, at(time.Duration(second)*time.Second), answer)[0]
	}
	for i := range 700 {
		read(i, 700)
	}
	if got := read(700, 700); sight(got) != frozen || got.Number != 700e3 {
		t.Errorf("after 700 s: %+v", got)
	}
	for i := 701; i < 1301; i++ {
		if got := read(i, 701); sight(got) != good {
			t.Fatalf("at %d s: %+v", i, got)
		}
	}
}

// Whether a signal moved while nobody read it is not known.
func TestASilenceAddsLittleToStandingStill(t *testing.T) {
	d := regmap.NewDecoder(watched(measured(t, "kPa"), measured(t, "A")))
	now := time.Duration(0)
	for i := range 20 {
		now += time.Second
		if i == 10 {
			now += 5 * time.Hour
		}
		answer := regmap.Answer{Table: regmap.Holding, Words: registers{700, uint16(i * 7919)}}
		if got := d.Decode(nil, at(now), answer)[0]; sight(got) != good {
			t.Fatalf("at %v: %v", now, sight(got))
		}
	}
}

func TestSamplesOfASlowDeviceCountOnce(t *testing.T) {
	slow := measured(t, "kPa")
	slow.UpdatePeriod = time.Second
	tests := []struct {
		name  string
		every time.Duration
		words registers
		want  []seen
	}{
		{"four polls of one sample", 250 * ms, registers{7, 7, 7, 7, 8, 8, 8, 8, 9}, []seen{good, repeated, repeated, repeated, good, repeated, repeated, repeated, good}},
		{"a new sample that is the same", 250 * ms, registers{7, 7, 7, 7, 7, 7}, []seen{good, repeated, repeated, repeated, good, repeated}},
		{"a new sample in the middle of the period", 400 * ms, registers{7, 7, 8, 8, 8, 8}, []seen{good, repeated, good, repeated, repeated, good}},
		{"polled as slowly as it samples", time.Second, registers{7, 7, 7}, []seen{good, good, good}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			d := regmap.NewDecoder(regmap.Map{Points: []regmap.Point{slow}})
			for i, word := range tt.words {
				now := at(time.Hour + time.Duration(i)*tt.every)
				got := d.Decode(nil, now, regmap.Answer{Table: regmap.Holding, Words: registers{word}})[0]
				if sight(got) != tt.want[i] || got.Number != 1000*float64(word) {
					t.Errorf("poll %d is %v %v, want %v", i, got.Number, sight(got), tt.want[i])
				}
			}
		})
	}
}

func TestADoubtfulSampleThatRepeatsStaysDoubtful(t *testing.T) {
	p := loopPoint(t)
	p.UpdatePeriod = time.Second
	d := regmap.NewDecoder(regmap.Map{Points: []regmap.Point{p}})
	for i := range 3 {
		got := d.Decode(nil, at(time.Duration(i)*100*ms), regmap.Answer{Table: regmap.Holding, Words: registers{3700}})[0]
		if sight(got) != doubtful {
			t.Errorf("poll %d is %v", i, sight(got))
		}
	}
}

func TestWithoutAnUpdatePeriodTheSameValueIsANewSample(t *testing.T) {
	d := regmap.NewDecoder(regmap.Map{Points: []regmap.Point{measured(t, "kPa")}})
	for i := range 3 {
		got := d.Decode(nil, at(time.Duration(i)*ms), regmap.Answer{Table: regmap.Holding, Words: registers{7}})[0]
		if sight(got) != good {
			t.Errorf("poll %d is %v", i, sight(got))
		}
	}
}

func TestABadValueKeepsItsOwnReason(t *testing.T) {
	p := measured(t, "kPa")
	p.NotAvailable, p.UpdatePeriod = []uint64{0xFFFF}, time.Hour
	d := regmap.NewDecoder(watched(p, measured(t, "A")))
	for i := range 1000 {
		answer := regmap.Answer{Table: regmap.Holding, Words: registers{0xFFFF, uint16(i * 7919)}}
		got := d.Decode(nil, at(time.Duration(i)*time.Second), answer)[0]
		if sight(got) != (seen{drivers.Bad, drivers.NotAvailable}) {
			t.Fatalf("at %d s: %v", i, sight(got))
		}
	}
}
