package orders_test

import (
	"math"
	"testing"
	"time"

	"pumpside/rules/orders"
)

// A fold is the signal itself, bin by bin: here a sum of orders whose values
// are known at every angle.
func TestAFoldIsTheSignalAgainstTheAngle(t *testing.T) {
	const turns = 5.0 // a second
	signal := func(turn float64) float64 {
		return 7e6 + 600e3*math.Cos(2*math.Pi*3*turn-0.7) + 100e3*math.Cos(2*math.Pi*9*turn+1)
	}
	w, f := orders.NewWindow(4*time.Second, 512), orders.NewFitter(orders.Settings{}, 512)
	var fold orders.Fold
	var r orders.Result
	folded := 0
	for i, at := 0, time.Duration(0); folded < 16; i++ {
		at += time.Duration(17e6 + i*i*7919%7e6)
		w.AddSpeed(at, turns)
		w.AddAngle(at, 0, turns*at.Seconds(), turns*at.Seconds()+1e-6)
		if w.Add(orders.Sample{At: at, Value: signal(turns * at.Seconds())}) {
			if err := f.Fit(w, &r); err != nil {
				t.Fatal(err)
			}
			r.Turn(r.Index)
			f.Fold(&r, &fold)
			w.Reset()
			folded++
		}
	}
	for i := range orders.Bins {
		want := signal((float64(i)+0.5)/orders.Bins) - 7e6
		// Within a bin the ninth order turns by 45°.
		if got := fold.At(float64(i) + 0.5); math.Abs(got-want) > 60e3 {
			t.Errorf("bin %d: %.0f Pa, want %.0f", i, got, want)
		}
	}
}

func TestAFoldFillsGapsFromItsNeighbours(t *testing.T) {
	var f orders.Fold
	if got := f.At(3.5); got != 0 {
		t.Errorf("nothing seen: %v, want 0", got)
	}
	f.Mean[70], f.Seen[70] = 10, true
	f.Mean[2], f.Seen[2] = 30, true
	for _, tt := range []struct {
		name        string
		place, want float64
	}{
		{"the middle of a bin that was seen", 70.5, 10},
		{"across the end of the turn, half way", 0.5, 20},
		{"three quarters of the way", 1.5, 25},
		{"one turn on is the same", 73.5, 25},
		{"one turn back is the same", -1.5, 10},
	} {
		if got := f.At(tt.place); math.Abs(got-tt.want) > 1e-9 {
			t.Errorf("%s: at %v: %v, want %v", tt.name, tt.place, got, tt.want)
		}
	}
}
