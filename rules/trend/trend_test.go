package trend_test

import (
	"math"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"pumpside/drivers"
	"pumpside/rules/trend"
)

func TestBuckets(t *testing.T) {
	bad := drivers.Reading{Signal: drivers.DischargePressure, Value: 0, Reason: drivers.Timeout}
	again := drivers.Reading{Signal: drivers.DischargePressure, Value: 9, Quality: drivers.Uncertain, Reason: drivers.Repeated}
	uncertain := drivers.Reading{Signal: drivers.DischargePressure, Value: 3, Quality: drivers.Uncertain, Reason: drivers.LoopUncertain}
	nan := pressure(math.NaN())
	at := func(seconds float64) drivers.Instant { return instant(time.Duration(seconds * 1e9)) }
	tests := []struct {
		name string
		do   func(s *trend.State)
		want []placed
	}{
		{"lowest, mean and highest of a minute", func(s *trend.State) {
			step(s, at(1), pressure(2))
			step(s, at(2), pressure(8))
			step(s, at(59), pressure(5))
			step(s, at(60), pressure(1))
		}, []placed{{0, trend.Bucket{Min: 2, Mean: 5, Max: 8}}, {1, trend.Bucket{Min: 1, Mean: 1, Max: 1}}}},
		{"a bad reading is a gap, not a zero", func(s *trend.State) {
			step(s, at(1), pressure(2))
			step(s, at(61), bad)
			step(s, at(121), pressure(4))
		}, []placed{{0, trend.Bucket{Min: 2, Mean: 2, Max: 2}}, {2, trend.Bucket{Min: 4, Mean: 4, Max: 4}}}},
		{"and does not count beside good ones", func(s *trend.State) {
			step(s, at(1), pressure(2))
			step(s, at(2), bad, nan, again)
			step(s, at(3), pressure(4))
		}, []placed{{0, trend.Bucket{Min: 2, Mean: 3, Max: 4}}}},
		{"an uncertain one does", func(s *trend.State) {
			step(s, at(1), uncertain)
		}, []placed{{0, trend.Bucket{Min: 3, Mean: 3, Max: 3}}}},
		{"negative values keep their order", func(s *trend.State) {
			step(s, at(1), pressure(-8), pressure(-2))
			step(s, at(2), pressure(-5))
		}, []placed{{0, trend.Bucket{Min: -8, Mean: -5, Max: -2}}}},
		{"what is larger than any float is the largest", func(s *trend.State) {
			step(s, at(1), pressure(1e300))
		}, []placed{{0, trend.Bucket{Min: largest, Mean: largest, Max: largest}}}},
		{"a late batch is left out", func(s *trend.State) {
			step(s, at(10), pressure(2))
			step(s, at(5), pressure(9))
		}, []placed{{0, trend.Bucket{Min: 2, Mean: 2, Max: 2}}}},
		{"signals the pump does not have are left out", func(s *trend.State) {
			step(s, at(10), pressure(2), good(drivers.GasFlow, 1), good(drivers.Auxiliary(7), 1), good(900, 1), good(drivers.NoSignal, 1))
		}, []placed{{0, trend.Bucket{Min: 2, Mean: 2, Max: 2}}}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			s := trend.New(channels, trend.Settings{})
			tt.do(&s)
			s.Close()
			got := bucketsOf(s.TakeClosed()[0], "discharge_pressure")
			if diff := cmp.Diff(tt.want, got); diff != "" {
				t.Errorf("-want +got\n%s", diff)
			}
		})
	}
}

// largest is the largest float32 that ends in eleven zero bits.
var largest = float64(math.Float32frombits(math.Float32bits(math.MaxFloat32) &^ 2047))

func TestBlocksEndOnFullSixHours(t *testing.T) {
	s := trend.New(channels, trend.Settings{})
	var got []string
	for at := -90 * time.Minute; at < 13*time.Hour; at += 10 * time.Second {
		step(&s, instant(at), pressure(1e6))
		for _, b := range s.TakeClosed() {
			got = append(got, b.Resolution.String()+" "+b.Start.Wall.Format("15:04:05")+" "+b.Stop().Format("15:04:05"))
		}
	}
	want := []string{
		"1m 10:30:00 12:00:00", "1h 10:00:00 12:00:00",
		"1m 12:00:00 18:00:00", "1h 12:00:00 18:00:00",
		"1m 18:00:00 00:00:00", "1h 18:00:00 00:00:00",
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("-want +got\n%s", diff)
	}
}

func TestClosingTellsOfABlockThatIsOpen(t *testing.T) {
	s := trend.New(channels, trend.Settings{})
	if s.Close(); s.HasClosed() {
		t.Error("nothing was measured, and blocks were closed")
	}
	step(&s, instant(0), pressure(1))
	step(&s, instant(time.Second)) // an empty beat
	if s.HasClosed() {
		t.Error("closed before the time")
	}
	if s.Close(); !s.HasClosed() || len(s.TakeClosed()) != 2 || s.HasClosed() {
		t.Error("a stop closes the minutes and the hour, once")
	}
	step(&s, instant(2*time.Second), pressure(2))
	s.Close()
	if got := s.TakeClosed()[0]; got.Count != 1 || got.Start.Wall != noon {
		t.Errorf("stepped on: %+v", got)
	}
}

func TestBlocksAreDatedByTheClockThatIsSynchronised(t *testing.T) {
	s := trend.New(channels, trend.Settings{})
	unset := func(t time.Duration) drivers.Instant {
		return drivers.Instant{Wall: time.Unix(int64(t/time.Second), 0), Boot: boot, SinceBoot: t}
	}
	step(&s, unset(2*time.Minute), pressure(1))
	step(&s, unset(3*time.Minute), pressure(2))
	known := unset(4 * time.Minute)
	known.Wall, known.Synchronized = noon.Add(4*time.Minute), true
	step(&s, known, pressure(3))
	lost := unset(5 * time.Minute)
	lost.Wall = noon.Add(-40 * 365 * 24 * time.Hour)
	step(&s, lost, pressure(4))
	s.Close()
	b := s.TakeClosed()[0]
	if !b.Start.Wall.Equal(noon.Add(2*time.Minute)) || !b.Start.Synchronized {
		t.Errorf("starts at %v", b.Start)
	}
	want := []placed{{0, trend.Bucket{Min: 1, Mean: 1, Max: 1}}, {1, trend.Bucket{Min: 2, Mean: 2, Max: 2}}, {2, trend.Bucket{Min: 3, Mean: 3, Max: 3}}, {3, trend.Bucket{Min: 4, Mean: 4, Max: 4}}}
	if diff := cmp.Diff(want, bucketsOf(b, "discharge_pressure")); diff != "" {
		t.Errorf("-want +got\n%s", diff)
	}
}

func TestAnotherBootIsAnotherBlock(t *testing.T) {
	s := trend.New(channels, trend.Settings{})
	step(&s, instant(0), pressure(1))
	step(&s, drivers.Instant{Boot: "another", SinceBoot: time.Minute, Wall: noon.Add(time.Hour), Synchronized: true}, pressure(2))
	closed := s.TakeClosed()
	if len(closed) != 2 || closed[0].Start.Boot != boot || closed[0].Count != 1 {
		t.Errorf("closed %+v", closed)
	}
}

func TestSecondsStayInMemoryForAnHour(t *testing.T) {
	s := trend.New(channels, trend.Settings{})
	for i := range 3 * 3600 {
		at := instant(time.Duration(i) * time.Second)
		if i%100 == 99 {
			step(&s, at) // nothing read
			continue
		}
		step(&s, at, pressure(float64(i)), good(drivers.GlycolVolume, 1e5+float64(i)*0.001))
	}
	end := noon.Add(3 * time.Hour)
	blocks := s.InMemory(trend.Second)
	points := trend.Query(blocks, "discharge_pressure", end.Add(-time.Hour), end, 3600)
	if len(points) != 3600-36 {
		t.Fatalf("%d points of an hour, want 3564: one in a hundred was not read", len(points))
	}
	for i, p := range points {
		want := 7200 + float64(i+i/99)
		if p.Span != time.Second || !p.At.Equal(noon.Add(time.Duration(want)*time.Second)) || math.Abs(p.Mean-want) > want/8000 || p.Min != p.Max {
			t.Fatalf("point %d is %+v, want %v", i, p, want)
		}
	}
	volume := trend.Query(blocks, "glycol_volume", end.Add(-10*time.Second), end, 10)
	if got := volume[8].Mean; math.Abs(got-100010.798) > 0.004 { // a float32 has steps of 0.0078 there
		t.Errorf("the totaliser shows %.4f m³, want 100010.798", got)
	}
	if len(blocks) > 13 {
		t.Errorf("%d chunks of five minutes for an hour", len(blocks))
	}
}

func TestSecondsCanBeShorterOrNone(t *testing.T) {
	for _, tt := range []struct {
		recent time.Duration
		chunks int
	}{{-1, 0}, {10 * time.Minute, 3}} {
		s := trend.New(channels, trend.Settings{Recent: tt.recent})
		for i := range 3600 {
			step(&s, instant(time.Duration(i)*time.Second), pressure(1))
		}
		if got := len(s.InMemory(trend.Second)); got != tt.chunks {
			t.Errorf("recent %v: %d chunks, want %d", tt.recent, got, tt.chunks)
		}
		if got := s.InMemory(trend.Minute); len(got) != 1 || got[0].Count != 60 {
			t.Errorf("recent %v: minutes in memory %+v", tt.recent, got)
		}
	}
}

func TestManyPumpsKeepSecondsForLess(t *testing.T) {
	tests := []struct {
		signals int
		want    time.Duration
	}{{0, time.Hour}, {40, time.Hour}, {4500, time.Hour}, {10000, 27 * time.Minute}, {20000, 13 * time.Minute}, {1e6, 10 * time.Minute}}
	for _, tt := range tests {
		if got := trend.RecentFor(tt.signals); got != tt.want {
			t.Errorf("RecentFor(%d) = %v, want %v", tt.signals, got, tt.want)
		}
	}
}

func TestLookingChangesNothing(t *testing.T) {
	looked, left := trend.New(channels, trend.Settings{}), trend.New(channels, trend.Settings{})
	for i := range 4000 {
		at := instant(time.Duration(i) * 7 * time.Second)
		for _, s := range []*trend.State{&looked, &left} {
			step(s, at, pressure(float64(i%13)), good(drivers.Auxiliary(0), float64(i%7)))
		}
		if i%50 == 0 {
			for _, r := range []trend.Resolution{trend.Second, trend.Minute, trend.Hour} {
				looked.InMemory(r)
			}
		}
	}
	looked.Close()
	left.Close()
	if diff := cmp.Diff(left.TakeClosed(), looked.TakeClosed()); diff != "" {
		t.Errorf("-left alone +looked at\n%s", diff)
	}
}

func TestTheSameSignalTwiceIsKeptOnce(t *testing.T) {
	s := trend.New(append(channels, channels[0], trend.Channel{Signal: 999, Name: "none"}), trend.Settings{})
	step(&s, instant(0), pressure(1))
	s.Close()
	if got := s.TakeClosed()[0].Series; len(got) != 1 || got[0].Name != "discharge_pressure" {
		t.Errorf("series %+v", got)
	}
}

func TestResolutions(t *testing.T) {
	ago := func(d time.Duration) time.Time { return noon.Add(-d) }
	const day = 24 * time.Hour
	tests := []struct {
		name     string
		from, to time.Time
		n        int
		want     string
	}{
		{"the last ten minutes", ago(10 * time.Minute), noon, 500, "1s"},
		{"the last half hour in 500 points", ago(30 * time.Minute), noon, 500, "1s"},
		{"ten minutes of yesterday have ten points and no more", ago(day), ago(day - 10*time.Minute), 500, "1m"},
		{"a day", ago(day), noon, 500, "1m"},
		{"a month in 500 points", ago(30 * day), noon, 500, "1h"},
		{"a day of last year", ago(400 * day), ago(399 * day), 500, "1h"},
		{"ten years ago", ago(4000 * day), ago(3999 * day), 500, "1h"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if got := trend.For(tt.from, tt.to, noon, tt.n).String(); got != tt.want {
				t.Errorf("got %s, want %s", got, tt.want)
			}
		})
	}
}
