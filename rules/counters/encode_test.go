package counters_test

import (
	"encoding/json"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"pumpside/drivers"
	"pumpside/rules/counters"
)

// busy is a State with nearly everything in it, an hour into its work.
func busy(t testing.TB) counters.State {
	r := &rig{set: *checkedEverything(t), at: drivers.Instant{Boot: bootA, SinceBoot: time.Hour, Wall: noon, Synchronized: true}}
	for i := range 3600 {
		on := i%300 > 20
		r.wait(time.Second + time.Duration(i%7)*time.Millisecond)
		r.batch(busyReadings(i, on)...)
	}
	return r.s
}

// busyReadings are twenty readings of a pump.
func busyReadings(i int, on bool) []drivers.Reading {
	state, motor, swing := driveStops, 0.0, 0.0
	if on {
		state, motor, swing = driveRuns, 1480+float64(i%5), float64(i%4)*150e3
	}
	list := []drivers.Reading{
		state, rpm(motor), good(drivers.BypassContactor, 0), watts(motor * 3.3), good(drivers.GlycolFlow, motor*1.9e-7),
		good(drivers.GlycolFlowSwitch, float64(min(motor, 1))), good(drivers.DischargePressure, 6.9e6+swing),
		pulses(float64(i * 5 % 65536)), good(drivers.GlycolVolume, float64(i)*2.9e-4), meterHours(float64(i/360) * 0.1),
	}
	for k := drivers.GlycolTemperature; len(list) < 20; k++ {
		if k != drivers.ShaftIndex {
			list = append(list, good(k, 40))
		}
	}
	return list
}

func TestPackedStateIsSmall(t *testing.T) {
	s := busy(t)
	b, err := s.AppendBinary(nil)
	if err != nil {
		t.Fatal(err)
	}
	text, err := json.Marshal(s)
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("packed %d bytes, JSON %d bytes", len(b), len(text))
	if len(b) > 345 {
		t.Errorf("a pump with every signal is packed in %d bytes, want 345 or fewer: it is written every minute", len(b))
	}
}

func TestStoredFormsSayWhatIsWrongWithThem(t *testing.T) {
	s := busy(t)
	whole, _ := s.MarshalBinary()
	later := append([]byte{9}, whole[1:]...)
	tests := []struct {
		name string
		b    []byte
		want string
	}{
		{"nothing", nil, "counters are empty"},
		{"a later version", later, "counters of version 9, this program knows 2"},
		{"half", whole[:len(whole)/2], "bytes are not counters: cut short, or a number that is none"},
		{"one byte more", append(append([]byte(nil), whole...), 0), "counters have 1 bytes too many"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			back := counters.State{Boot: "kept"}
			err := back.UnmarshalBinary(tt.b)
			if err == nil || !strings.HasSuffix(err.Error(), tt.want) {
				t.Errorf("error %v, want %s", err, tt.want)
			}
			if back != (counters.State{Boot: "kept"}) {
				t.Error("the state was changed")
			}
		})
	}
	var back counters.State
	const want = "counters of version 3, this program knows 2"
	if err := json.Unmarshal([]byte(`{"v":3}`), &back); err == nil || err.Error() != want {
		t.Errorf("error %v, want %s", err, want)
	}
}

func TestEventWordsComeBackFromText(t *testing.T) {
	for k := counters.Started; k <= counters.IndexAgrees; k++ {
		var back counters.Kind
		text, _ := k.MarshalText()
		if err := back.UnmarshalText(text); err != nil || back != k {
			t.Errorf("%v: %v, %v", k, back, err)
		}
	}
	e := counters.Event{Kind: counters.MeterReplaced, Meter: counters.DriveHours, From: 7, To: 5}
	text, err := json.Marshal(e)
	if err != nil {
		t.Fatal(err)
	}
	var back counters.Event
	if err := json.Unmarshal(text, &back); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(e, back); diff != "" {
		t.Errorf("-want +got\n%s", diff)
	}
	if err := back.Kind.UnmarshalText([]byte("pump_exploded")); err == nil || err.Error() != `"pump_exploded" is not a kind of counter event` {
		t.Errorf("error %v", err)
	}
}

func FuzzUnmarshalBinary(f *testing.F) {
	s := busy(f)
	whole, _ := s.MarshalBinary()
	f.Add(whole)
	f.Add([]byte{1, 0})
	set := checkedEverything(f)
	f.Fuzz(func(t *testing.T, b []byte) {
		var first, second counters.State
		if first.UnmarshalBinary(b) != nil {
			return
		}
		again, _ := first.MarshalBinary()
		if err := second.UnmarshalBinary(again); err != nil || first != second {
			t.Fatalf("%v\n-first +second\n%s", err, cmp.Diff(first, second))
		}
		// Whatever was stored, stepping on must not panic.
		at := first.Frame.Now.At + time.Second
		for i := range 3 {
			counters.Step(set, &first, &drivers.Batch{
				At: drivers.Instant{Boot: first.Boot, SinceBoot: at + time.Duration(i)*time.Second}, Readings: busyReadings(i, true),
			}, nil)
		}
	})
}

func TestCountersOfVersionOneAreRead(t *testing.T) {
	s := busy(t)
	want := s
	want.Running.Usual = 0 // which it did not know
	s.Version = 1
	b, _ := s.MarshalBinary()
	var back counters.State
	if err := back.UnmarshalBinary(b); err != nil {
		t.Fatal(err)
	}
	if back != want {
		t.Errorf("-want +got\n%s", cmp.Diff(want, back))
	}
}
