package orders_test

import (
	"testing"
	"time"

	"pumpside/rules/orders"
)

// BenchmarkFit fits four seconds of a signal polled at 50 Hz: one pump's cost
// is the time per operation by four seconds.
func BenchmarkFit(b *testing.B) {
	for _, bb := range []struct {
		name   string
		beat   time.Duration
		change func(*rig)
	}{
		{"300 rpm", 0, func(*rig) {}},
		{"1750 rpm", 0, func(g *rig) { g.speed = 1750.0 / 60 }},
		{"300 rpm, 10 ms beat", 10 * time.Millisecond, func(g *rig) { g.refresh, g.stamp = 0.01, 0.002 }},
	} {
		b.Run(bb.name, func(b *testing.B) {
			const length = 4 * time.Second
			w := orders.NewWindow(length, 512)
			f := orders.NewFitter(orders.Settings{Beat: bb.beat}, 512)
			g := healthy(1)
			bb.change(g)
			g.fill(w)
			var r orders.Result
			b.ReportAllocs()
			for b.Loop() {
				if err := f.Fit(w, &r); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(100*b.Elapsed().Seconds()/float64(b.N)/length.Seconds(), "%-of-a-core")
		})
	}
}
