package trend_test

import (
	"encoding/json"
	"math"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"pumpside/drivers"
	"pumpside/rules/trend"
)

// A sample is a value at a time after noon.
type sample struct {
	at time.Duration
	v  float64
}

// drawSamples are samples of one signal, some seconds to some hours apart.
func drawSamples(t *rapid.T) []sample {
	var list []sample
	at := time.Duration(rapid.Int64Range(0, int64(24*time.Hour)).Draw(t, "first")).Truncate(time.Millisecond)
	value := rapid.OneOf(rapid.Float64(), rapid.Float64Range(6.5e6, 7.5e6), rapid.Float64Range(-40, 90), rapid.SampledFrom([]float64{0, 1, -1, math.MaxFloat64}))
	for range rapid.IntRange(1, 80).Draw(t, "samples") {
		v := value.Draw(t, "value")
		list = append(list, sample{at, v})
		at += rapid.SampledFrom([]time.Duration{0, 100 * time.Millisecond, time.Second, time.Second, 17 * time.Second, 3 * time.Minute, 7 * time.Hour}).Draw(t, "wait")
	}
	return list
}

// near is how far a kept value may be from v.
func near(v float64) float64 { return math.Abs(v)/8000 + 1e-38 }

func limited(v float64) float64 { return max(-math.MaxFloat32, min(v, math.MaxFloat32)) }

func TestEverySampleIsInItsBucketAndNothingElseIs(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		samples := drawSamples(t)
		s := trend.New(channels, trend.Settings{})
		var blocks []*trend.Block
		for _, x := range samples {
			step(&s, instant(x.at), pressure(x.v))
			if rapid.IntRange(0, 20).Draw(t, "stop") == 0 { // and a restart
				s.Close()
				blocks = append(blocks, stored(t, s.TakeClosed())...)
				s = trend.New(channels, trend.Settings{})
			}
		}
		s.Close()
		blocks = append(blocks, stored(t, s.TakeClosed())...)
		for _, r := range []trend.Resolution{trend.Minute, trend.Hour} {
			points := trend.Query(ofResolution(blocks, r), "discharge_pressure", noon, noon.Add(2000*time.Hour), 1e6)
			mustHold(t, samples, points, time.Duration(r))
		}
	})
}

func ofResolution(blocks []*trend.Block, r trend.Resolution) (list []*trend.Block) {
	for _, b := range blocks {
		if b.Resolution == r {
			list = append(list, b)
		}
	}
	return list
}

// mustHold checks that the points are the buckets of the samples.
func mustHold(t *rapid.T, samples []sample, points []trend.Point, length time.Duration) {
	want := map[time.Time]trend.Bucket{}
	for _, x := range samples {
		at, v := noon.Add(x.at).Truncate(length), limited(x.v)
		b, ok := want[at]
		if !ok {
			b = trend.Bucket{Min: v, Max: v}
		}
		want[at] = trend.Bucket{Min: min(b.Min, v), Max: max(b.Max, v)}
	}
	if len(points) != len(want) {
		t.Fatalf("%d points, want %d", len(points), len(want))
	}
	for _, p := range points {
		w, ok := want[p.At]
		if !ok || math.Abs(p.Min-w.Min) > near(w.Min) || math.Abs(p.Max-w.Max) > near(w.Max) {
			t.Fatalf("%v: got %v to %v, want %v to %v", p.At, p.Min, p.Max, w.Min, w.Max)
		}
		if !(p.Min <= p.Mean && p.Mean <= p.Max) {
			t.Fatalf("%v: mean %v is not between %v and %v", p.At, p.Mean, p.Min, p.Max)
		}
	}
}

// stored gives the blocks as they come back from the store.
func stored(t *rapid.T, blocks []*trend.Block) (list []*trend.Block) {
	for _, b := range blocks {
		text, _ := b.MarshalBinary()
		var back, again trend.Block
		if err := back.UnmarshalBinary(text); err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(b, &back); diff != "" {
			t.Fatalf("-closed +stored\n%s", diff)
		}
		text, _ = json.Marshal(b)
		if err := json.Unmarshal(text, &again); err != nil || !cmp.Equal(b, &again) {
			t.Fatalf("as JSON: %v\n%s", err, cmp.Diff(b, &again))
		}
		list = append(list, &back)
	}
	return list
}

func TestSeveralReadingsOfAnInstantMayComeInAnyBatches(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		together, apart := trend.New(channels, trend.Settings{}), trend.New(channels, trend.Settings{})
		for _, x := range drawSamples(t) {
			readings := []drivers.Reading{pressure(x.v), good(drivers.Auxiliary(0), -x.v), pressure(x.v / 2)}
			step(&together, instant(x.at), readings...)
			cut := rapid.IntRange(0, 3).Draw(t, "cut")
			step(&apart, instant(x.at), readings[:cut]...)
			step(&apart, instant(x.at), readings[cut:]...)
		}
		together.Close()
		apart.Close()
		if diff := cmp.Diff(together.TakeClosed(), apart.TakeClosed()); diff != "" {
			t.Errorf("-together +apart\n%s", diff)
		}
	})
}

func TestAQueryGivesNoMoreThanAskedForAndKeepsTheExtremes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := trend.New(channels, trend.Settings{Recent: -1})
		samples := drawSamples(t)
		for _, x := range samples {
			step(&s, instant(x.at), pressure(x.v))
		}
		s.Close()
		blocks := ofResolution(s.TakeClosed(), trend.Minute)
		n := rapid.IntRange(1, 40).Draw(t, "n")
		from, to := noon, noon.Add(samples[len(samples)-1].at+time.Minute)
		points := trend.Query(blocks, "discharge_pressure", from, to, n)
		if len(points) > n {
			t.Fatalf("%d points, asked for %d", len(points), n)
		}
		low, high := math.Inf(1), math.Inf(-1)
		for i, p := range points {
			low, high = min(low, p.Min), max(high, p.Max)
			if i > 0 && !points[i-1].At.Before(p.At) {
				t.Fatalf("points %v and %v are out of order", points[i-1].At, p.At)
			}
		}
		wantLow, wantHigh := math.Inf(1), math.Inf(-1)
		for _, x := range samples {
			wantLow, wantHigh = min(wantLow, limited(x.v)), max(wantHigh, limited(x.v))
		}
		if math.Abs(low-wantLow) > near(wantLow) || math.Abs(high-wantHigh) > near(wantHigh) {
			t.Fatalf("from %v to %v, want %v to %v", low, high, wantLow, wantHigh)
		}
	})
}
