package modbus

import (
	"bytes"
	"context"
	"errors"
	"os"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"pgregory.net/rapid"
)

// A simulatedLine is an RTU line in simulated time: the device on it answers
// each request after a delay that the test chooses, with the value of the
// register asked for. It belongs to one goroutine, as a link does.
type simulatedLine struct {
	delay   func(n int) time.Duration // of the n-th answer, from its request on; negative: none
	n       int
	coming  []arrival // by time
	until   time.Time
	written [][]byte
}

type arrival struct {
	at    time.Time
	bytes []byte
}

func (l *simulatedLine) arm(until time.Time) error { l.until = until; return nil }
func (l *simulatedLine) interrupt()                {}
func (l *simulatedLine) close() error              { return nil }

func (l *simulatedLine) write(p []byte) (int, error) {
	request := bytes.Clone(p)
	l.written = append(l.written, request)
	if d := l.delay(l.n); d >= 0 {
		l.say(d, healthyRTU(request))
	}
	l.n++
	return len(p), nil
}

// say lets bytes arrive after a time.
func (l *simulatedLine) say(after time.Duration, b []byte) {
	l.coming = append(l.coming, arrival{time.Now().Add(after), b})
	slices.SortStableFunc(l.coming, func(a, b arrival) int { return a.at.Compare(b.at) })
}

func (l *simulatedLine) read(p []byte) (int, error) {
	if len(l.coming) == 0 || l.coming[0].at.After(l.until) {
		time.Sleep(time.Until(l.until))
		return 0, os.ErrDeadlineExceeded
	}
	time.Sleep(time.Until(l.coming[0].at))
	n := copy(p, l.coming[0].bytes)
	l.coming = l.coming[1:]
	return n, nil
}

func (l *simulatedLine) poll(p []byte) (n int, err error) {
	for len(l.coming) > 0 && !l.coming[0].at.After(time.Now()) {
		n += copy(p[n:], l.coming[0].bytes)
		l.coming = l.coming[1:]
	}
	return n, nil
}

// onLine returns a bus on a simulated line.
func onLine(t testing.TB, s Settings, l *simulatedLine) *Bus {
	t.Helper()
	s.Kind, s.Address, s.Line = RTU, "simulated", line9600
	b, err := Open(s)
	if err != nil {
		t.Fatal(err)
	}
	b.wire.open = func(context.Context, *Settings) (link, error) { return l, nil }
	return b
}

// inBubble runs a property test in simulated time.
func inBubble(t *testing.T, property func(*testing.T, *rapid.T)) {
	synctest.Test(t, func(t *testing.T) {
		// rapid asks a *testing.T for its deadline, which a bubble has not.
		rapid.Check(struct{ *testing.T }{t}, func(r *rapid.T) { property(t, r) })
	})
}

// TestNoLateAnswerIsEverTakenForAnother is the law of this package: whatever
// the delays, up to the late limit after the deadline, a read gives the asked
// registers or an error. All requests look alike but for their address, which
// an answer does not carry.
func TestNoLateAnswerIsEverTakenForAnother(t *testing.T) {
	const timeout, limit = 100 * ms, 300 * ms
	inBubble(t, func(t *testing.T, r *rapid.T) {
		// How long after its request an answer comes, or how long after the
		// deadline of that request; negative is never.
		delays := rapid.SliceOfN(rapid.IntRange(-1, int(timeout/ms)), 5, 40).Draw(r, "delays in ms")
		lates := rapid.SliceOfN(rapid.IntRange(-1, int(limit/ms)-1), 5, 40).Draw(r, "late in ms")
		isLate := rapid.SliceOfN(rapid.Bool(), 5, 40).Draw(r, "is late")
		pauses := rapid.SliceOfN(rapid.IntRange(0, 500), 5, 40).Draw(r, "pauses in ms")
		settle := rapid.Bool().Draw(r, "settle after faults")
		l := &simulatedLine{}
		l.delay = func(n int) time.Duration {
			late := time.Duration(lates[n%len(lates)]) * ms
			if isLate[n%len(isLate)] && late >= 0 {
				return time.Until(l.until) + late
			}
			return time.Duration(delays[n%len(delays)]) * ms
		}
		b := onLine(t, Settings{Timeout: timeout, LateLimit: limit, RetryFirst: 1, RetryMost: 1}, l)
		for i := range 30 {
			ask := Request{Unit: 1, Table: HoldingRegisters, First: uint16(100 + i), Count: 1}
			a, err := b.Read(t.Context(), ask)
			switch {
			case err == nil && a.Words[0] != valueAt(1, 100+i):
				r.Fatalf("read %d of register %d gave the value of register %d", i, ask.First, a.Words[0]-valueAt(1, 0))
			case err != nil && settle:
				_ = b.Settle(t.Context())
			}
			time.Sleep(time.Duration(pauses[i%len(pauses)]) * ms)
		}
	})
}

// TestTheBoundOfTheLaw shows where it ends: what comes later than the late
// limit is taken for the answer to a request of the same shape, and refused if
// the shape differs.
func TestTheBoundOfTheLaw(t *testing.T) {
	const timeout, limit = 100 * ms, 300 * ms
	tests := []struct {
		name   string
		late   time.Duration // after the deadline
		second Request
		want   uint16 // value read, 0 for an error
	}{
		{"within the limit the right value is read", limit - ms, Request{Unit: 1, Table: HoldingRegisters, First: 200, Count: 1}, 1200},
		{"later, it passes for the answer to a request of the same shape", limit + 5*ms, Request{Unit: 1, Table: HoldingRegisters, First: 200, Count: 1}, 1100},
		{"later, another count refuses it", limit + 5*ms, Request{Unit: 1, Table: HoldingRegisters, First: 200, Count: 2}, 0},
		{"later, another table refuses it", limit + 5*ms, Request{Unit: 1, Table: InputRegisters, First: 200, Count: 1}, 0},
		{"later, another unit refuses it", limit + 5*ms, Request{Unit: 2, Table: HoldingRegisters, First: 200, Count: 1}, 0},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				l := &simulatedLine{delay: func(n int) time.Duration { return []time.Duration{timeout + tt.late, 20 * ms}[n] }}
				b := onLine(t, Settings{Timeout: timeout, LateLimit: limit, RetryFirst: 1, RetryMost: 1}, l)
				settled(t, b)
				if _, err := b.Read(t.Context(), Request{Unit: 1, Table: HoldingRegisters, First: 100, Count: 1}); ReasonOf(err) != Timeout {
					t.Fatalf("error %v, want a timeout", err)
				}
				settled(t, b)
				a, err := b.Read(t.Context(), tt.second)
				if tt.want == 0 {
					if err == nil {
						t.Errorf("read %v, want an error", a.Words)
					}
					return
				}
				if err != nil || a.Words[0] != tt.want {
					t.Errorf("read %v, %v; want %d", a.Words, err, tt.want)
				}
			})
		})
	}
}

func settled(t *testing.T, b *Bus) {
	t.Helper()
	if err := b.Settle(t.Context()); err != nil {
		t.Fatal(err)
	}
}

func TestNothingIsSentWhileTheLineIsNotSilent(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := &simulatedLine{delay: func(int) time.Duration { return 10 * ms }}
		for i := range 20 { // another master talks every 250 ms
			l.say(time.Duration(i)*250*ms, rtuFrame(9, 3, 2, 0, 1))
		}
		b := onLine(t, Settings{Timeout: 500 * ms, LateLimit: 300 * ms}, l)
		r := Request{Unit: 1, Table: HoldingRegisters, Count: 1}
		_, err := b.Read(t.Context(), r)
		const want = "unit 1 holding registers 0..0: line was not yet silent for 300ms"
		if err == nil || err.Error() != want || ReasonOf(err) != Settling {
			t.Errorf("error\n got %v\nwant %s", err, want)
		}
		if err := b.Settle(t.Context()); ReasonOf(err) != Settling {
			t.Errorf("settling ended with %v, want that it gives up", err)
		}
		if len(l.written) > 0 {
			t.Errorf("%d requests were sent into the talk", len(l.written))
		}
		time.Sleep(10 * time.Second)
		settled(t, b)
		if _, err := b.Read(t.Context(), r); err != nil {
			t.Errorf("after the talk: %v", err)
		}
		if u := b.UnitFacts(1); u.Failures != 0 {
			t.Errorf("unit has %d failures, want 0: it was not to blame", u.Failures)
		}
	})
}

func TestFramesAreAtLeastT35Apart(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := &simulatedLine{delay: func(int) time.Duration { return 10 * ms }}
		b := onLine(t, Settings{}, l)
		settled(t, b)
		for range 3 {
			if _, err := b.Read(t.Context(), Request{Unit: 1, Table: HoldingRegisters, Count: 1}); err != nil {
				t.Fatal(err)
			}
			answered := time.Now()
			settled(t, b)
			if gap := time.Since(answered); gap != 38500*time.Microsecond*1000/9600 {
				t.Errorf("%v of silence after an answer, want 38.5 bits at 9600 baud", gap)
			}
		}
	})
}

func TestReadingInstantIsBetweenRequestAndAnswer(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		const eightCharacters = 8 * 11 * time.Second / 9600
		l := &simulatedLine{delay: func(int) time.Duration { return eightCharacters + 30*ms }}
		b := onLine(t, Settings{}, l)
		settled(t, b)
		start := time.Now()
		a, err := b.Read(t.Context(), Request{Unit: 1, Table: HoldingRegisters, Count: 1})
		if err != nil {
			t.Fatal(err)
		}
		at, half := a.At()
		if want := eightCharacters + 15*ms; at.Sub(start) != want || half != 15*ms {
			t.Errorf("instant %v ± %v after the request, want %v ± 15ms", at.Sub(start), half, want)
		}
		if f := b.Facts(); f.LastTurnaround != 30*ms {
			t.Errorf("turnaround %v, want 30ms", f.LastTurnaround)
		}
	})
}

func TestLateLimitIsLearnedFromTheUnit(t *testing.T) {
	s := Settings{LateLimit: time.Second, LateFloor: 200 * ms}
	tests := []struct {
		name    string
		answers int
		slowest time.Duration
		want    time.Duration
	}{
		{"nothing known", 0, 0, time.Second},
		{"not enough known", 99, 10 * ms, time.Second},
		{"fast unit", 100, 10 * ms, 200 * ms},
		{"four times the slowest answer", 100, 100 * ms, 400 * ms},
		{"never above what is configured for that", 100, 600 * ms, time.Second},
		{"never below the slowest answer seen", 100, 1500 * ms, 1500 * ms},
		{"also before enough is known", 1, 1500 * ms, 1500 * ms},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			l := lateness{answers: tt.answers, slowest: tt.slowest}
			if got := l.limit(&s); got != tt.want {
				t.Errorf("late limit %v, want %v", got, tt.want)
			}
		})
	}
}

func TestLateAnswerTeachesTheUnitsSlowness(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := &simulatedLine{delay: func(n int) time.Duration {
			if n == 150 {
				return 250 * ms
			}
			return 20 * ms
		}}
		b := onLine(t, Settings{Timeout: 100 * ms, LateLimit: time.Second}, l)
		settled(t, b)
		for range 150 {
			if _, err := b.Read(t.Context(), Request{Unit: 1, Table: HoldingRegisters, Count: 1}); err != nil {
				t.Fatal(err)
			}
		}
		if u := b.UnitFacts(1); u.LateLimit != 200*ms {
			t.Errorf("late limit %v after 150 quick answers, want the floor of 200ms", u.LateLimit)
		}
		_, err := b.Read(t.Context(), Request{Unit: 1, Table: HoldingRegisters, Count: 1})
		if ReasonOf(err) != Timeout {
			t.Fatalf("error %v, want a timeout", err)
		}
		settled(t, b)
		// 250 ms from writing, less the 8 characters the request is on the wire.
		seen := 250*ms - line9600.characters(8)
		if u := b.UnitFacts(1); u.SlowestAnswer != seen || u.LateLimit != 4*seen || b.Facts().LateFrame != 1 {
			t.Errorf("unit %+v after an answer of 250ms, want it remembered", u)
		}
	})
}

// TestDeadUnitDoesNotStarveItsNeighbours reads three units on a beat of 1 s
// for ten minutes; the second never answers.
func TestDeadUnitDoesNotStarveItsNeighbours(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := &simulatedLine{}
		l.delay = func(n int) time.Duration {
			if l.written[n][0] == 2 {
				return -1
			}
			return 20 * ms
		}
		b := onLine(t, Settings{Seed: 1}, l)
		settled(t, b)
		var jobs []Job
		for unit := byte(1); unit <= 3; unit++ {
			jobs = append(jobs, routine(unit, 4, time.Second, 40*ms))
		}
		start := time.Now()
		schedule, err := NewSchedule(0, jobs, nil)
		if err != nil {
			t.Fatal(err)
		}
		good, asked := map[byte]int{}, 0
		for time.Since(start) < 10*time.Minute {
			job, at := schedule.Next(time.Since(start))
			if job < 0 {
				time.Sleep(at - time.Since(start))
				continue
			}
			schedule.Begin(job, time.Since(start))
			switch _, err := b.Read(t.Context(), jobs[job].Request); {
			case err == nil:
				good[jobs[job].Request.Unit]++
			case ReasonOf(err) == Timeout:
				asked++
				settled(t, b)
			}
		}
		for _, unit := range []byte{1, 3} {
			if good[unit] < 560 {
				t.Errorf("unit %d was read %d times in 600 beats, want at least 560", unit, good[unit])
			}
		}
		if asked < 10 || asked > 25 {
			t.Errorf("dead unit was asked %d times in ten minutes, want a pause that doubles to a minute", asked)
		}
	})
}

func TestOneGoodAnswerEndsTheBackOff(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		dead := false
		l := &simulatedLine{delay: func(int) time.Duration {
			if dead {
				return -1
			}
			return 20 * ms
		}}
		b := onLine(t, Settings{Timeout: 100 * ms, LateLimit: 100 * ms, RetryFirst: time.Second, RetryMost: 4 * time.Second}, l)
		r := Request{Unit: 5, Table: HoldingRegisters, Count: 1}
		read := func() Reason {
			settled(t, b)
			_, err := b.Read(t.Context(), r)
			return ReasonOf(err)
		}
		expect := func(what string, want Reason) {
			t.Helper()
			if got := read(); got != want {
				t.Errorf("%s: %v, want %v", what, got, want)
			}
		}
		expect("a living unit", None)
		dead = true
		for range 3 {
			expect("three failures", Timeout)
		}
		expect("directly after", BackingOff)
		time.Sleep(time.Second)
		expect("the probe", Timeout)
		expect("after the probe", BackingOff)
		time.Sleep(1400 * ms)
		expect("the pause has doubled", BackingOff)
		time.Sleep(600 * ms)
		dead = false
		expect("the second probe", None)
		dead = true
		expect("all is forgotten", Timeout)
		expect("and failures count from one", Timeout)
	})
}

func TestSpuriousWakeupDoesNotEndARead(t *testing.T) {
	t.Parallel()
	device := onPTY(t, func(_ int, request []byte) []chunk {
		return []chunk{{after: 50 * ms, bytes: healthyRTU(request)}}
	})
	for name, s := range map[string]Settings{
		"rtu": quick(RTU, device.path),
		"tcp": quick(TCP, serveTCP(t, readTCP, func(_ int, request []byte) []chunk {
			return []chunk{{after: 50 * ms, bytes: healthyTCP(request)}}
		})),
	} {
		t.Run(name, func(t *testing.T) {
			b := openBus(t, s)
			if err := b.Settle(t.Context()); err != nil {
				t.Fatal(err)
			}
			// What an earlier transaction's context does when it ends late.
			done := make(chan struct{})
			go func() {
				defer close(done)
				for range 4 {
					time.Sleep(10 * ms)
					b.wire.wake.wake()
				}
			}()
			r := Request{Unit: 1, Table: HoldingRegisters, First: 100, Count: 1}
			a, err := b.Read(t.Context(), r)
			<-done
			if err != nil {
				t.Fatal(err)
			}
			checkWords(t, r, a.Words)
		})
	}
}

func TestContextThatIsOverAsksNothing(t *testing.T) {
	l := &simulatedLine{}
	b := onLine(t, Settings{}, l)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	_, err := b.Read(ctx, Request{Unit: 1, Table: HoldingRegisters, Count: 1})
	if !errors.Is(err, context.Canceled) || b.Facts().Opened != 0 {
		t.Errorf("error %v after %d opens, want cancelled before anything", err, b.Facts().Opened)
	}
}
