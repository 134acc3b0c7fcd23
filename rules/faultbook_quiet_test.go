package rules_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"testing"
	"time"

	"pumpside/simulator"
)

// TestQuietDays lets healthy pumps live with starts, stops, changes of speed,
// pressure and temperature, noise and devices that fall silent, and lists every
// advisory about wear.
func TestQuietDays(t *testing.T) {
	days, pumps, first := 0.1, 2, uint64(0)
	if *book == "full" {
		days, pumps, first = 1, 90, fresh+3000
	}
	total, advisories, began := 0.0, 0, time.Now()
	for at := 0; at < pumps && (*bookFor == 0 || time.Since(began) < *bookFor); at += 2 {
		for i, o := range runs(t, first+uint64(at), 2, func(t testing.TB, seed uint64) outcome { return quiet(t, seed, days) }) {
			total += o.days
			advisories += len(o.visits)
			for _, v := range o.visits {
				t.Logf("pump %d: %s", at+i, v)
			}
		}
		if *bookFile != "" {
			text := fmt.Sprintf("%d advisories in %.1f quiet pump-days, %v\n", advisories, total, time.Since(began).Round(time.Second))
			if err := os.WriteFile(*bookFile, []byte(text), 0o600); err != nil {
				t.Fatal(err)
			}
		}
	}
	t.Logf("%d advisories in %.1f quiet pump-days", advisories, total)
	if float64(advisories) > math.Max(1, total/90) {
		t.Errorf("%d false advisories in %.1f pump-days, want 1 in 90 at most", advisories, total)
	}
}

// quietly are the samplings of the quiet pumps. Most are read as an agent reads
// them, in fast windows; some at all times.
var quietly = []sampling{
	windows, rtu, meter, windows, rtu, windows, rtu, tcp10, meter, rtu,
	windows, rtu, meter, windows, rtu, windows, rtu, tcp50, meter, windows,
	windows, rtu, meter, windows, rtu, windows, rtu, indexed, meter, rtu,
}

func quiet(t testing.TB, seed uint64, days float64) outcome {
	s := variedSite(seed)
	s.Running = true
	how := quietly[seed%uint64(len(quietly))]
	b := newBench(t, s, how)
	rng := rand.New(rand.NewPCG(seed, 5))
	end := time.Duration(days * 24 * float64(time.Hour))
	rated, against := float64(s.Machine.RatedSpeed), float64(s.Contactor)/1e6
	b.event(simulator.Event{Do: simulator.ContactorPressure, Size: against}) // so that changes go from there
	for at := time.Hour; at < end; at += time.Duration(20+rng.IntN(100)) * time.Minute {
		switch rng.IntN(6) {
		case 0:
			b.event(simulator.Event{At: at, Do: simulator.Stop}, simulator.Event{At: at + 3*time.Minute, Do: simulator.Start})
		case 1:
			b.event(simulator.Event{At: at, Do: simulator.SetSpeed, Size: rated * (0.75 + 0.25*rng.Float64())})
		case 2:
			b.event(simulator.Event{At: at, Do: simulator.ContactorPressure, Size: 5.5 + 2*rng.Float64(), Onset: 10 * time.Minute})
		case 3:
			b.event(simulator.Event{At: at, Do: simulator.Cold, Size: 20 * rng.Float64(), Onset: 30 * time.Minute})
		case 4:
			b.silent = append(b.silent, at)
		case 5:
			b.event(simulator.Event{At: at, Do: simulator.SetSpeed, Size: rated}, simulator.Event{At: at, Do: simulator.ContactorPressure, Size: against, Onset: 5 * time.Minute})
		}
	}
	b.run(end, nil)
	return outcome{visits: b.visits, days: days}
}
