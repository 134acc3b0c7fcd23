package simulator_test

import (
	"fmt"
	"math"
	"sync/atomic"
	"testing"
	"time"

	"pgregory.net/rapid"

	"pumpside/drivers/quantity"
	"pumpside/simulator"
)

func newSkid(t testing.TB, change func(*simulator.Settings)) *simulator.Skid {
	t.Helper()
	s := simulator.DefaultSettings(1)
	if change != nil {
		change(&s)
	}
	k, err := simulator.NewSkid(s)
	if err != nil {
		t.Fatal(err)
	}
	return k
}

func running(s *simulator.Settings) { s.Running = true }

func value(t testing.TB, k *simulator.Skid, signal string) float64 {
	t.Helper()
	v, ok := k.Value(signal, k.Truth().At)
	if !ok {
		t.Fatalf("no signal %q", signal)
	}
	return v
}

func TestASkidDoesNotDependOnHowOftenItIsLookedAt(t *testing.T) {
	events := []simulator.Event{
		{At: time.Second, Do: simulator.Start},
		{At: 20 * time.Second, Do: simulator.SuctionValveLeak, Cylinder: 1, Size: 0.3, Onset: 10 * time.Second},
		{At: 40 * time.Second, Do: simulator.Stop},
	}
	for _, detail := range []simulator.Detail{simulator.Mean, simulator.Full} {
		often := newSkid(t, func(s *simulator.Settings) { s.Detail = detail })
		once := newSkid(t, func(s *simulator.Settings) { s.Detail = detail })
		for _, k := range []*simulator.Skid{often, once} {
			if err := k.Schedule(events...); err != nil {
				t.Fatal(err)
			}
		}
		for at := time.Duration(0); at < 35*time.Second; at += 7 * time.Millisecond {
			often.Value("discharge_pressure", at)
		}
		at := 35*time.Second + 3*time.Millisecond
		for _, r := range simulator.Registers() {
			a, _ := often.Value(r.Signal, at)
			b, _ := once.Value(r.Signal, at)
			if a != b {
				t.Errorf("detail %d: %s is %v looked at often and %v looked at once", detail, r.Signal, a, b)
			}
		}
		if a, b := often.Truth(), once.Truth(); a != b {
			t.Errorf("detail %d: truth %+v looked at often and %+v looked at once", detail, a, b)
		}
	}
}

// Whatever happens, in any order: counts only grow and run time never passes
// elapsed time.
func TestTruthKeepsItsLaws(t *testing.T) {
	orders := []simulator.Action{
		simulator.Start, simulator.Stop, simulator.DriveTrip, simulator.DriveReset, simulator.SetSpeed,
		simulator.AcrossTheLine, simulator.BeltSlip, simulator.GasLocked, simulator.Reversed,
	}
	rapid.Check(t, func(t *rapid.T) {
		s := simulator.DefaultSettings(rapid.Uint64().Draw(t, "seed"))
		s.Running = rapid.Bool().Draw(t, "running")
		k, err := simulator.NewSkid(s)
		if err != nil {
			t.Fatal(err)
		}
		before := k.Truth()
		for range rapid.IntRange(1, 8).Draw(t, "events") {
			e := simulator.Event{
				At: before.At, Do: rapid.SampledFrom(orders).Draw(t, "do"),
				Size: float64(rapid.IntRange(0, 1).Draw(t, "size")),
			}
			if e.Do == simulator.SetSpeed {
				e.Size *= 250
			}
			if err := k.Schedule(e); err != nil {
				t.Fatal(err)
			}
			k.Advance(time.Duration(rapid.IntRange(1, 20_000).Draw(t, "ms")) * time.Millisecond)
			now := k.Truth()
			switch {
			case now.RunSeconds < before.RunSeconds || now.Revolutions < before.Revolutions || now.Starts < before.Starts || now.Energy < before.Energy:
				t.Fatalf("%v: truth fell from %+v to %+v", e.Do, before, now)
			case now.RunSeconds-before.RunSeconds > simulatorSeconds(now.At-before.At)+0.02:
				t.Fatalf("%v: ran %v s in %v", e.Do, now.RunSeconds-before.RunSeconds, now.At-before.At)
			case now.Starts-before.Starts > 2:
				t.Fatalf("%v: %d starts by one event", e.Do, now.Starts-before.Starts)
			}
			before = now
		}
	})
}

func simulatorSeconds(d time.Duration) quantity.Seconds { return quantity.Seconds(d.Seconds()) }

// A motor on the mains by its bypass contactor turns while the drive says that
// it does not.
func TestABypassContactorRunsTheMotorBehindTheDrivesBack(t *testing.T) {
	k := newSkid(t, nil)
	if err := k.Schedule(simulator.Event{Do: simulator.AcrossTheLine, Size: 1}); err != nil {
		t.Fatal(err)
	}
	k.Advance(time.Minute)
	for signal, want := range map[string]float64{
		"drive_status": 0x0231, "motor_speed": 0, "motor_power": 0, "drive_run_hours": 0,
		"bypass_contactor": 1, "contactor_auxiliary": 1, "glycol_flow_switch": 1,
	} {
		if got := value(t, k, signal); math.Abs(got-want) > 0.6 {
			t.Errorf("%s is %v, want %v", signal, got, want)
		}
	}
	if truth := k.Truth(); truth.RunSeconds < 59 || truth.Starts != 1 {
		t.Errorf("ran %v s after %d starts, want 59 s after one", truth.RunSeconds, truth.Starts)
	}
}

// 300 rpm for an hour: 18 000 turns, three strokes each, 23.17 L/min of
// displacement (1 in × 2 in × 3 × 300 rpm) at the volumetric efficiency of a
// small diaphragm pump, 85 to 95 % at 70 bar (common practice, no source).
func TestTruthOfAnHourAtRatedSpeed(t *testing.T) {
	k := newSkid(t, func(s *simulator.Settings) { s.Running = true; s.Wander = 0 })
	before := value(t, k, "glycol_volume")
	k.Advance(time.Hour)
	truth := k.Truth()
	if math.Abs(float64(truth.RunSeconds)-3600) > 0.021 {
		t.Errorf("run seconds %v, want 3600", truth.RunSeconds)
	}
	if math.Abs(truth.Revolutions-18000) > 18000*0.005 {
		t.Errorf("revolutions %v, want 18000 ± 0.5 %%", truth.Revolutions)
	}
	if math.Abs(truth.Strokes-3*truth.Revolutions) > 1e-6 {
		t.Errorf("strokes %v, want three for each of %v turns", truth.Strokes, truth.Revolutions)
	}
	efficiency := float64(truth.Delivered) / (truth.Revolutions * 3 * float64(k.Settings().Machine.StrokeVolume()))
	if efficiency < 0.85 || efficiency > 0.97 {
		t.Errorf("volumetric efficiency %.3f, want 0.85 to 0.97", efficiency)
	}
	if got := value(t, k, "glycol_volume") - before; math.Abs(got-1e3*float64(truth.Delivered)) > 1 {
		t.Errorf("totaliser moved by %v L, delivered %v L", got, 1e3*truth.Delivered)
	}
	if truth.Starts != 0 {
		t.Errorf("%d starts, want none: it ran from the beginning", truth.Starts)
	}
}

func TestStatusWordFollowsTheDrive(t *testing.T) {
	k := newSkid(t, nil)
	if err := k.Schedule(
		simulator.Event{At: 1 * time.Second, Do: simulator.Start},
		simulator.Event{At: 30 * time.Second, Do: simulator.Stop},
		simulator.Event{At: 50 * time.Second, Do: simulator.Start},
		simulator.Event{At: 70 * time.Second, Do: simulator.DriveTrip, Size: 17},
		simulator.Event{At: 80 * time.Second, Do: simulator.Stop},
		simulator.Event{At: 80 * time.Second, Do: simulator.DriveReset},
	); err != nil {
		t.Fatal(err)
	}
	// IEC 61800-7-201 status words; bit 9 remote, bit 10 target reached.
	tests := []struct {
		name  string
		at    time.Duration
		word  float64
		speed float64 // motor, rpm
		fault float64
	}{
		{"ready to switch on", 500 * time.Millisecond, 0x0231, 0, 0},
		{"operation enabled, accelerating", 3 * time.Second, 0x0237, 345, 0},
		{"operation enabled, at speed", 20 * time.Second, 0x0637, 1450, 0},
		{"ready again after the ramp", 45 * time.Second, 0x0231, 0, 0},
		{"at speed again", 69 * time.Second, 0x0637, 1450, 0},
		{"fault", 75 * time.Second, 0x0208, 0, 17},
		{"reset", 90 * time.Second, 0x0231, 0, 0},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			k.AdvanceTo(tt.at)
			if got := value(t, k, "drive_status"); got != tt.word {
				t.Errorf("status word %#04x, want %#04x", uint16(got), uint16(tt.word))
			}
			if got := value(t, k, "motor_speed"); math.Abs(got-tt.speed) > 40 {
				t.Errorf("motor speed %v rpm, want about %v", got, tt.speed)
			}
			if got := value(t, k, "drive_fault_code"); got != tt.fault {
				t.Errorf("fault code %v, want %v", got, tt.fault)
			}
		})
	}
	if got := k.Truth().Starts; got != 2 {
		t.Errorf("%d starts, want 2", got)
	}
}

func TestFlowIsLostWithClosedSuctionAndFoundAgain(t *testing.T) {
	k := newSkid(t, running)
	if err := k.Schedule(
		simulator.Event{At: 10 * time.Second, Do: simulator.SuctionClosed, Size: 1},
		simulator.Event{At: 60 * time.Second, Do: simulator.SuctionClosed, Size: 0},
	); err != nil {
		t.Fatal(err)
	}
	k.AdvanceTo(50 * time.Second)
	if got := value(t, k, "glycol_flow"); got > 0.5 {
		t.Errorf("flow %v L/min with the suction closed", got)
	}
	if got := value(t, k, "suction_pressure"); got > -50 {
		t.Errorf("suction pressure %v kPa, want a vacuum", got)
	}
	if got := value(t, k, "motor_speed"); got < 1400 {
		t.Errorf("motor speed %v rpm: the pump should still turn", got)
	}
	k.AdvanceTo(120 * time.Second)
	if got := value(t, k, "glycol_flow"); got < 19 {
		t.Errorf("flow %v L/min after the suction is open again", got)
	}
}

func TestEveryRegisterIsServedOnceAndNamedOnce(t *testing.T) {
	type place struct {
		table simulator.Table
		at    uint16
	}
	places, signals := map[place]string{}, map[string]bool{}
	k := newSkid(t, running)
	u := k.Whole()
	for _, r := range simulator.Registers() {
		if signals[r.Signal] || r.Signal == "" {
			t.Errorf("signal %q is missing or twice", r.Signal)
		}
		signals[r.Signal] = true
		for w := range r.Words() {
			p := place{r.Table, r.Address + w}
			if other, taken := places[p]; taken {
				t.Errorf("%s and %s share %v %d", other, r.Signal, p.table, p.at)
			}
			places[p] = r.Signal
		}
		words := make([]uint16, r.Words())
		if !u.Read(time.Second, r.Table, r.Address, words) {
			t.Errorf("%s cannot be read", r.Signal)
		}
		v, _ := k.Value(r.Signal, time.Second)
		if !(v >= r.Low && v <= r.High) {
			t.Errorf("%s is %v, outside %v to %v", r.Signal, v, r.Low, r.High)
		}
		raw := uint32(words[0])
		if len(words) == 2 {
			first, second := uint32(words[0]), uint32(words[1])
			raw = map[string]uint32{"ABCD": first<<16 | second, "CDAB": second<<16 | first}[r.WordOrder]
		}
		if got := r.Decode(raw); got != v {
			t.Errorf("%s: registers % x decode to %v, value is %v", r.Signal, words, got, v)
		}
	}
	if u.Read(time.Second, simulator.Holding, 17, make([]uint16, 1)) {
		t.Error("holding register 17 should not be there")
	}
	if k.Unit(simulator.Drive).Read(time.Second, simulator.Input, 0, make([]uint16, 1)) {
		t.Error("the drive should not serve the instruments' registers")
	}
}

// One skid on two unit ids, over TCP: what the registers say is what the skid
// is, and a device told to be silent is.
func TestASkidIsServedAsTwoDevices(t *testing.T) {
	k := newSkid(t, func(s *simulator.Settings) { s.Running, s.Detail = true, simulator.Full })
	var now atomic.Int64
	s := &simulator.Server{
		Units: map[byte]simulator.Unit{1: k.Unit(simulator.Drive), 2: k.Unit(simulator.Instruments)},
		Now:   func() time.Duration { return time.Duration(now.Load()) },
	}
	conn := dial(t, s, simulator.TCP)
	converse(t, conn, "0001 0000 0006 01 03 0000 0001", "0001 0000 0005 01 03 02 0637")
	converse(t, conn, "0002 0000 0006 01 04 0000 0001", "0002 0000 0003 01 84 02")
	converse(t, conn, "0003 0000 0006 02 02 0000 0009", "0003 0000 0005 02 02 02 b700")
	now.Store(int64(time.Hour))
	truth := k.TruthAt(time.Hour)
	index := fmt.Sprintf("%04x", uint16(truth.Revolutions))
	converse(t, conn, "0004 0000 0006 02 04 0001 0001", "0004 0000 0005 02 04 02 "+index)
	if err := k.Schedule(simulator.Event{At: time.Hour, Do: simulator.DeviceSilent, Device: simulator.Drive}); err != nil {
		t.Fatal(err)
	}
	now.Store(int64(time.Hour + time.Second))
	send(t, conn, "0005 0000 0006 01 03 0000 0001")
	converse(t, conn, "0006 0000 0006 02 01 0000 0001", "0006 0000 0003 02 81 02")
}

func TestInstrumentFaults(t *testing.T) {
	k := newSkid(t, running)
	event := func(do simulator.Action, signal string, size float64) {
		t.Helper()
		e := simulator.Event{At: k.Truth().At, Do: do, Signal: signal, Size: size}
		if err := k.Schedule(e); err != nil {
			t.Fatal(err)
		}
		k.Advance(50 * time.Millisecond)
	}
	k.Advance(time.Second)
	event(simulator.Failed, "glycol_level", 1)
	if got := value(t, k, "glycol_level"); got != (3.5-4)/16*100 {
		t.Errorf("broken loop shows %v %%, want that of 3.5 mA (NAMUR NE 43: failure at 3.6 mA and less)", got)
	}
	event(simulator.Failed, "glycol_flow", 1)
	if got := value(t, k, "glycol_flow"); !math.IsNaN(got) {
		t.Errorf("broken float sensor shows %v, want NaN", got)
	}
	event(simulator.Frozen, "discharge_pressure", 1)
	first := value(t, k, "discharge_pressure")
	for range 20 {
		k.Advance(37 * time.Millisecond)
		if got := value(t, k, "discharge_pressure"); got != first {
			t.Fatalf("frozen signal moved from %v to %v", first, got)
		}
	}
	before := value(t, k, "glycol_temperature")
	event(simulator.Drift, "glycol_temperature", 0.1)
	if got := value(t, k, "glycol_temperature") - before; math.Abs(got-19) > 0.5 {
		t.Errorf("drift of 10 %% of 190 K moved the signal by %v K", got)
	}
}

// Values of a gateway are as old as its round: many of these are 1 to 3 s
// (common practice, no source).
func TestAGatewayShowsItsLastRound(t *testing.T) {
	k := newSkid(t, func(s *simulator.Settings) { s.Running, s.Gateway = true, 2 })
	var seen []float64
	for at := time.Second; at < 9*time.Second; at += 100 * time.Millisecond {
		v, _ := k.Value("shaft_index", at)
		if len(seen) == 0 || v != seen[len(seen)-1] {
			seen = append(seen, v)
		}
	}
	if len(seen) != 5 {
		t.Fatalf("%d different values in 8 s of a gateway that reads each 2 s: %v", len(seen), seen)
	}
	for i := 1; i < len(seen); i++ {
		if step := seen[i] - seen[i-1]; step < 9 || step > 11 {
			t.Errorf("the index moved by %v in a round, want 10 turns", step)
		}
	}
}

func TestEventsThatMakeNoSenseAreRefused(t *testing.T) {
	tests := []struct {
		name string
		e    simulator.Event
		want string
	}{
		{"fourth cylinder", simulator.Event{Do: simulator.SmallHead, Cylinder: 3}, "small head: cylinder 4 of 3"},
		{"unknown signal", simulator.Event{Do: simulator.Drift, Signal: "presure"}, `signal drift: unknown signal "presure"`},
		{"unknown action", simulator.Event{Do: 250}, "unknown action 250"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if err := newSkid(t, nil).Schedule(tt.e); err == nil || err.Error() != tt.want {
				t.Errorf("error %v, want %s", err, tt.want)
			}
		})
	}
}

func TestEveryActionHasATextOfItsOwn(t *testing.T) {
	for _, a := range simulator.Actions() {
		if got, err := simulator.ParseAction(a.String()); err != nil || got != a {
			t.Errorf("ParseAction(%q) = %v, %v", a, got, err)
		}
	}
}

func BenchmarkSkidSecond(b *testing.B) {
	k := newSkid(b, running)
	b.ReportAllocs()
	for b.Loop() {
		k.Advance(time.Second)
	}
}

func BenchmarkPressureRead(b *testing.B) {
	k := newSkid(b, running)
	u, at, dst := k.Whole(), time.Duration(0), make([]uint16, 2)
	b.ReportAllocs()
	for b.Loop() {
		at += 20 * time.Millisecond
		u.Read(at, simulator.Input, 0, dst)
	}
}

func BenchmarkNewSkid(b *testing.B) {
	for b.Loop() {
		newSkid(b, running)
	}
}
