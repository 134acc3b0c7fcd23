package main

import (
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

// A life is one run of the agent, in the plant's time.
type life struct {
	first, end time.Duration // first reading, and the kill
	left       [2]remnant    // of gp-1 and gp-2
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

	var lives []life
	var truth [2]simulator.Truth // at the first reading that was saved
	live := func(end func(*program)) {
		agent := start(t, "pumpside", "run", "--config", config)
		l := life{first: p.reads[0].awaitRead(t, agent, p.now())}
		if len(lives) == 0 || lives[len(lives)-1].left[0].at == 0 {
			truth = [2]simulator.Truth{p.skids[0].Truth(), p.skids[1].Truth()}
		}
		end(agent)
		l.end, l.left = p.now(), remains(t, p, config)
		lives = append(lives, l)
	}
	for range kills {
		live(func(agent *program) { time.Sleep(within(2500 * time.Millisecond)); agent.kill() })
		time.Sleep(within(1200 * time.Millisecond))
	}
	live(func(agent *program) {
		time.Sleep(killedSave)
		if code := agent.stop(t, stopSignal); code != 0 {
			t.Errorf("the agent stopped with exit code %d", code)
		}
	})

	first, unseen, most := judgeLives(t, lives)
	last := lives[kills]
	for i, r := range last.left {
		checkTotals(t, p, i, r, truth[i], first, time.Duration(i*stops(r.at))*killedGap)
	}
	if limit := kills*(killedSave+killedPoll) + unseen; last.left[0].Unobserved > limit {
		t.Errorf("%v unobserved after %d kills; with one save interval a kill and %v without an agent it may be %v", last.left[0].Unobserved, kills, unseen, limit)
	}
	t.Logf("seed %d: %d kills in %.1f s, %.1f s without an agent; a kill lost %.2f s at most", seed, kills, last.end.Seconds(), unseen.Seconds(), most.Seconds())
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

// judgeLives checks what each life left behind. It gives the first reading that
// counted, the time without an agent after it, and the most that one kill lost.
func judgeLives(t *testing.T, lives []life) (first, unseen, most time.Duration) {
	t.Helper()
	for i, l := range lives {
		if i > 0 && lives[i-1].left[0].at > 0 {
			unseen += l.first - lives[i-1].end
			for pump, r := range l.left {
				before := lives[i-1].left[pump]
				if r.Run < before.Run || r.Unobserved < before.Unobserved || r.Revolutions < before.Revolutions || r.Starts < before.Starts {
					t.Errorf("life %d, gp-%d: totals fell from %+v to %+v", i, pump+1, before, r)
				}
			}
		} else {
			first = l.first
		}
		most = max(most, l.end-max(l.first, l.left[0].at))
	}
	return first, unseen, most
}

// checkTotals compares what was counted since the first reading with what
// happened, begun at the truth then. Each stop may be seen late by late in all.
func checkTotals(t *testing.T, p *plant, pump int, got remnant, begun simulator.Truth, first, late time.Duration) {
	t.Helper()
	truth := p.skids[pump].TruthAt(got.at)
	const polled = killedPoll + 100*time.Millisecond // the ends are known to one poll
	span := got.at - first
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
