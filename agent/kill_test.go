package main

import (
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
	"time"

	"pumpside/agent/store"
	"pumpside/rules/counters"
	"pumpside/simulator"
)

// The settings of the agent that is killed.
const (
	killedSave = time.Second
	killedPoll = 250 * time.Millisecond
	killedGap  = time.Second // max_gap: a longer one is unobserved
)

// A life is one run of the agent, in the plant's time, as it concerns one pump.
type life struct {
	first simulator.Truth // at the first reading
	end   time.Duration   // the kill
	left  remnant
}

// A remnant is what a killed agent left in its state file about a pump.
type remnant struct {
	counters.Counted
	at time.Duration // of the newest reading in it, in the plant's time; 0: nothing was saved
}

// observed is the time that is accounted for.
func (r remnant) observed() time.Duration { return r.Run + r.Stopped + r.Unobserved }

// TestKillCountsNothingTwiceAndTellsWhatItDidNotSee kills the agent at random
// moments and compares its totals with what the simulator knows.
//
// gp-1 runs all the time, so its bounds are sharp. gp-2 stops and starts.
func TestKillCountsNothingTwiceAndTellsWhatItDidNotSee(t *testing.T) {
	if testing.Short() {
		t.Skip("kills the agent for a minute")
	}
	t.Parallel()
	const kills = 32
	seed := rand.Uint64()
	random := rand.New(rand.NewPCG(seed, 0))
	within := func(most time.Duration) time.Duration { return time.Duration(random.Int64N(int64(most))) }

	nimble := running(2)
	nimble.Ramp = 1
	p := newPlant(t, running(1), nimble)
	stops := toggle(t, p.skids[1], 3*time.Second, 3*time.Minute)
	config := p.configure(t, skidSite{Save: "1 s"},
		"    points: ", "    read: {routine: 250 ms}\n    points: ",
		"counting: {", "counting: {max_gap: 1 s, ")

	var lives [2][]life
	shown := map[string]float64{}
	look := func(metrics string) { // what Prometheus sees
		now := scrape(t, metrics)
		for _, total := range []string{"run_seconds", "unobserved_seconds", "shaft_revolutions", "starts"} {
			for _, pump := range []string{"gp-1", "gp-2"} {
				series := fmt.Sprintf("pumpside_%s_total{pump=%q}", total, pump)
				if value, ok := now[series]; ok && value < shown[series] {
					t.Errorf("%s fell from %v to %v", series, shown[series], value)
				} else if ok {
					shown[series] = value
				}
			}
		}
	}
	live := func(end func(agent *program, metrics string)) {
		var l [2]life
		before := p.now()
		agent, metrics := startAgent(t, config)
		for pump := range l {
			l[pump].first = p.reads[pump].awaitRead(t, agent, before)
		}
		look(metrics)
		end(agent, metrics)
		killed, left := p.now(), remains(t, p, config)
		for pump := range l {
			l[pump].end, l[pump].left = killed, left[pump]
			lives[pump] = append(lives[pump], l[pump])
		}
	}
	for i := range kills {
		live(func(agent *program, metrics string) {
			if i == 0 {
				time.Sleep(3 * killedSave) // every meter is read and saved, so that all count from one moment
			}
			time.Sleep(within(2500 * time.Millisecond))
			look(metrics)
			agent.kill()
		})
		time.Sleep(within(1200 * time.Millisecond))
	}
	live(func(agent *program, _ string) {
		time.Sleep(killedSave)
		if code := agent.stop(t, stopSignal); code != 0 {
			t.Errorf("the agent stopped with exit code %d", code)
		}
	})

	if len(shown) != 8 {
		t.Errorf("%d totals seen, want 8: %v", len(shown), shown)
	}
	for pump := range lives {
		story := judgeLives(t, lives[pump])
		last := lives[pump][kills].left
		checkTotals(t, p, pump, last, story.first, time.Duration(pump*stops(last.at))*killedGap)
		if limit := kills*(killedSave+killedPoll) + story.unseen; last.Unobserved > limit {
			t.Errorf("gp-%d: %v unobserved after %d kills; with one save interval a kill and %v without an agent it may be %v", pump+1, last.Unobserved, kills, story.unseen, limit)
		}
		t.Logf("gp-%d: %d kills in %.1f s, %.1f s without an agent; a kill lost %.2f s at most; seed %d", pump+1, kills, lives[pump][kills].end.Seconds(), story.unseen.Seconds(), story.most.Seconds(), seed)
	}
}

// toggle stops and starts a skid in turns until the end, and gives how often it
// has stopped by a time.
func toggle(t *testing.T, skid *simulator.Skid, every, end time.Duration) (stops func(time.Duration) int) {
	t.Helper()
	for at := every; at < end; at += 2 * every {
		if err := skid.Schedule(simulator.Event{At: at, Do: simulator.Stop}, simulator.Event{At: at + every, Do: simulator.Start}); err != nil {
			t.Fatal(err)
		}
	}
	return func(at time.Duration) int { return int((at + every) / (2 * every)) }
}

// remains reads the counters from a copy of the state file.
func remains(t *testing.T, p *plant, config string) (left [2]remnant) {
	t.Helper()
	folder := t.TempDir()
	state := filepath.Join(filepath.Dir(config), "pumpside.db")
	writeFile(t, filepath.Join(folder, "copy.db"), readFile(t, state))
	if log, err := os.ReadFile(state + "-wal"); err == nil { // a clean stop leaves none
		writeFile(t, filepath.Join(folder, "copy.db-wal"), string(log))
	}
	s, recovery, err := store.Open(filepath.Join(folder, "copy.db"), store.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if recovery.Damage != nil {
		t.Errorf("a kill damaged the state file: %v", recovery.Damage)
	}
	packed, _, err := s.Counters(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for i, pump := range []string{"gp-1", "gp-2"} {
		var c counters.State
		if packed[pump] == nil {
			continue
		}
		if err := c.UnmarshalBinary(packed[pump]); err != nil {
			t.Fatal(err)
		}
		if c.Running.Known {
			left[i] = remnant{c.Counted, c.Running.At.At - sinceBoot() + p.now()}
		}
	}
	return left
}

// A story is what all lives together come to.
type story struct {
	first  simulator.Truth // at the first reading that counted
	unseen time.Duration   // without an agent, since then
	most   time.Duration   // that one kill lost
}

// judgeLives checks that no total fell from one life to the next.
func judgeLives(t *testing.T, lives []life) (s story) {
	t.Helper()
	for i, l := range lives {
		if l.left.at == 0 {
			t.Fatalf("life %d: nothing was saved", i)
		}
		if i == 0 {
			s.first = l.first
		} else {
			before, r := lives[i-1].left, l.left
			s.unseen += l.first.At - lives[i-1].end
			if r.Run < before.Run || r.Unobserved < before.Unobserved || r.Revolutions < before.Revolutions || r.Starts < before.Starts {
				t.Errorf("life %d: totals fell from %+v to %+v", i, before, r)
			}
		}
		s.most = max(s.most, l.end-max(l.first.At, l.left.at))
	}
	return s
}

// checkTotals compares what was counted since the first reading with what
// happened since. Each stop may be seen late, by late in all.
func checkTotals(t *testing.T, p *plant, pump int, got remnant, begun simulator.Truth, late time.Duration) {
	t.Helper()
	truth := p.reads[pump].nearest(got.at)
	const polled = killedPoll + 100*time.Millisecond // the ends are known to one poll
	span := got.at - begun.At
	ran := seconds(float64(truth.RunSeconds - begun.RunSeconds))
	turned := truth.Revolutions - begun.Revolutions
	pumped := 1e3 * float64(truth.Delivered-begun.Delivered)
	perPoll := 5.5 * polled.Seconds() // revolutions, at about 5 a second

	for _, check := range []struct {
		what      string
		got       float64
		low, high float64
	}{
		{"s accounted for", got.observed().Seconds(), (span - polled).Seconds(), (span + polled).Seconds()},
		{"s run", got.Run.Seconds(), (ran - got.Unobserved - polled).Seconds() - late.Seconds(), (ran + late + polled).Seconds()},
		{"revolutions", got.Revolutions, turned - 2*perPoll - 1, turned + perPoll},
		{"L pumped", 1e3 * float64(got.Pumped), pumped - 0.5, pumped + 0.5}, // a totaliser of whole 0.1 L
		{"starts", float64(got.Starts), 0, float64(truth.Starts - begun.Starts)},
	} {
		if !(check.got >= check.low && check.got <= check.high) {
			t.Errorf("gp-%d: %.3f %s, want %.3f to %.3f", pump+1, check.got, check.what, check.low, check.high)
		}
	}
	t.Logf("gp-%d: run %.2f s, stopped %.2f s, unobserved %.2f s in %.2f s; it ran %.2f s. %.1f revolutions of %.1f, %.2f L of %.2f L, %d starts of %d",
		pump+1, got.Run.Seconds(), got.Stopped.Seconds(), got.Unobserved.Seconds(), span.Seconds(), ran.Seconds(),
		got.Revolutions, turned, 1e3*float64(got.Pumped), pumped, got.Starts, truth.Starts-begun.Starts)
}

func seconds(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }
