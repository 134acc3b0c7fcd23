package modbus

import (
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

const ms = time.Millisecond

func routine(unit byte, count uint16, period, cost time.Duration) Job {
	return Job{Request: Request{Unit: unit, Table: HoldingRegisters, Count: count}, Class: Routine, Period: period, Cost: cost}
}

func slow(unit byte, count uint16, period, cost time.Duration) Job {
	j := routine(unit, count, period, cost)
	j.Class = Slow
	return j
}

func fast(unit byte, count uint16, cost time.Duration) Job {
	j := routine(unit, count, 0, cost)
	j.Class = Fast
	return j
}

// A begun is one begin of a job.
type begun struct {
	Job int
	At  time.Duration
}

// run lets a bus follow the schedule from 0 to until; took says how long the
// n-th transaction lasted.
func run(t interface{ Fatalf(string, ...any) }, s *Schedule, until time.Duration, took func(job int) time.Duration) (done []begun) {
	for now := time.Duration(0); now < until; {
		job, at := s.Next(now)
		if job < 0 {
			if at <= now {
				t.Fatalf("at %v nothing to do and asked to come back at %v", now, at)
			}
			now = at
			continue
		}
		s.Begin(job, now)
		done = append(done, begun{job, now})
		now += took(job)
	}
	return done
}

func newSchedule(t testing.TB, jobs []Job, windows ...Window) *Schedule {
	t.Helper()
	s, err := NewSchedule(0, jobs, windows)
	if err != nil {
		t.Fatal(err)
	}
	for i := range windows {
		s.Allow(i, true)
	}
	return s
}

func TestScheduleOrder(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name    string
		jobs    []Job
		windows []Window
		until   time.Duration
		want    []begun
	}{
		{
			name:  "a beat does not drift when a transaction takes long",
			jobs:  []Job{routine(1, 1, 100*ms, 70*ms)},
			until: 400 * ms,
			want:  []begun{{0, 0}, {0, 100 * ms}, {0, 200 * ms}, {0, 300 * ms}},
		},
		{
			name:  "jobs of one beat follow each other",
			jobs:  []Job{routine(1, 1, 100*ms, 10*ms), routine(2, 1, 100*ms, 20*ms)},
			until: 200 * ms,
			want:  []begun{{0, 0}, {1, 10 * ms}, {0, 100 * ms}, {1, 110 * ms}},
		},
		{
			name:  "requests that could be mistaken for each other are kept apart",
			jobs:  []Job{routine(1, 4, 100*ms, 10*ms), routine(1, 4, 100*ms, 10*ms), routine(1, 9, 100*ms, 10*ms)},
			until: 100 * ms,
			want:  []begun{{0, 0}, {2, 10 * ms}, {1, 20 * ms}},
		},
		{
			name:  "slow waits for a gap it fits into",
			jobs:  []Job{routine(1, 1, 100*ms, 80*ms), routine(2, 1, 1000*ms, 10*ms), slow(3, 1, 30000*ms, 20*ms)},
			until: 300 * ms,
			want:  []begun{{0, 0}, {1, 80 * ms}, {0, 100 * ms}, {2, 180 * ms}, {0, 200 * ms}},
		},
		{
			name:  "slow that fits nowhere waits one routine beat and no longer",
			jobs:  []Job{routine(1, 1, 100*ms, 90*ms), slow(3, 1, 30000*ms, 20*ms)},
			until: 300 * ms,
			want:  []begun{{0, 0}, {0, 100 * ms}, {1, 190 * ms}, {0, 210 * ms}},
		},
		{
			name:    "fast fills what routine leaves and lets it keep its beat",
			jobs:    []Job{routine(1, 1, 100*ms, 40*ms), fast(2, 2, 25*ms)},
			windows: []Window{{Every: 1000 * ms, Length: 300 * ms}},
			until:   500 * ms,
			want: []begun{
				{0, 0},
				{1, 40 * ms},
				{1, 65 * ms},
				{0, 100 * ms},
				{1, 140 * ms},
				{1, 165 * ms},
				{0, 200 * ms},
				{1, 240 * ms},
				{1, 265 * ms},
				{0, 300 * ms},
				{0, 400 * ms},
			},
		},
		{
			name:    "fast signals take turns",
			jobs:    []Job{fast(1, 2, 10*ms), fast(2, 2, 10*ms)},
			windows: []Window{{Every: 1000 * ms, Length: 40 * ms}},
			until:   1000 * ms,
			want:    []begun{{0, 0}, {1, 10 * ms}, {0, 20 * ms}, {1, 30 * ms}},
		},
		{
			name:    "two windows of one beat open one after the other",
			jobs:    []Job{fast(1, 2, 50*ms), {Request: Request{Unit: 2, Table: InputRegisters, Count: 2}, Class: Fast, Cost: 50 * ms, Window: 1}},
			windows: []Window{{Every: 1000 * ms, Length: 100 * ms}, {Every: 1000 * ms, Length: 100 * ms}},
			until:   1600 * ms,
			want:    []begun{{0, 0}, {0, 50 * ms}, {1, 500 * ms}, {1, 550 * ms}, {0, 1000 * ms}, {0, 1050 * ms}, {1, 1500 * ms}, {1, 1550 * ms}},
		},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			s := newSchedule(t, tt.jobs, tt.windows...)
			got := run(t, s, tt.until, func(job int) time.Duration { return tt.jobs[job].Cost })
			if diff := cmp.Diff(tt.want, got); diff != "" {
				t.Errorf("begun (-want +got):\n%s", diff)
			}
		})
	}
}

func TestShutWindowStaysShut(t *testing.T) {
	t.Parallel()
	s := newSchedule(t, []Job{fast(1, 2, 10*ms)}, Window{Every: 100 * ms, Length: 50 * ms})
	s.Allow(0, false)
	if job, at := s.Next(0); job >= 0 || at != never {
		t.Errorf("next is job %d at %v, want nothing ever", job, at)
	}
	s.Allow(0, true)
	if job, at := s.Next(60 * ms); job >= 0 || at != 100*ms {
		t.Errorf("next is job %d at %v, want the opening at 100 ms", job, at)
	}
}

func TestMissedBeatsAreCountedAndNotMadeUpFor(t *testing.T) {
	t.Parallel()
	s := newSchedule(t, []Job{routine(1, 1, 100*ms, 10*ms)})
	n := 0
	got := run(t, s, 600*ms, func(int) time.Duration {
		n++
		if n == 2 {
			return 230 * ms // a unit that hangs
		}
		return 10 * ms
	})
	want := []begun{{0, 0}, {0, 100 * ms}, {0, 330 * ms}, {0, 400 * ms}, {0, 500 * ms}}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("begun (-want +got):\n%s", diff)
	}
	if s.Missed(0) != 1 {
		t.Errorf("missed %d beats, want 1", s.Missed(0))
	}
}

func TestSlowGetsItsTurnOnAnOverloadedBus(t *testing.T) {
	t.Parallel()
	jobs := []Job{routine(1, 1, 100*ms, 150*ms), slow(2, 1, 1000*ms, 10*ms)}
	got := run(t, newSchedule(t, jobs), 10000*ms, func(job int) time.Duration { return jobs[job].Cost })
	turns := len(slices.DeleteFunc(got, func(b begun) bool { return b.Job != 1 }))
	if turns != 5 { // due at 0, served a whole beat late, then every second beat
		t.Errorf("slow job had %d turns in 10 s, want 5", turns)
	}
}

func TestScheduleRefusesWhatHasNoBeat(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name    string
		job     Job
		windows []Window
		want    string
	}{
		{"no class", Job{Period: 1, Cost: 1}, nil, "job 0: class 0; want routine, slow or fast"},
		{"no period", routine(1, 1, 0, 1), nil, "job 0: routine without a period"},
		{"no cost", routine(1, 1, 1, 0), nil, "job 0: costs 0s; want what it takes on the wire"},
		{"no window", fast(1, 1, 1), nil, "job 0: fast in window 0 of 0"},
		{"window longer than its beat", fast(1, 1, 1), []Window{{Every: 1, Length: 2}}, "window 0 is open for 2ns every 1ns; want a part of a beat"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if _, err := NewSchedule(0, []Job{tt.job}, tt.windows); err == nil || err.Error() != tt.want {
				t.Errorf("error\n got %v\nwant %s", err, tt.want)
			}
		})
	}
}

// drawRoutine makes routine jobs of at most half a bus.
func drawRoutine(t *rapid.T) (jobs []Job, busy time.Duration) {
	for i := range rapid.IntRange(1, 5).Draw(t, "routine jobs") {
		cost := time.Duration(rapid.IntRange(5, 20).Draw(t, "cost")) * ms
		count := rapid.Uint16Range(1, 3).Draw(t, "registers")
		period := time.Duration(rapid.SampledFrom([]int{200, 300, 1000}).Draw(t, "period")) * ms
		jobs = append(jobs, routine(byte(i%2), count, period, cost))
		busy += cost
	}
	return jobs, busy
}

// TestFastNeverMovesARoutineBeat runs the same routine jobs with and without
// fast jobs beside them.
func TestFastNeverMovesARoutineBeat(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		jobs, busy := drawRoutine(t)
		took := func(jobs []Job) func(int) time.Duration { return func(job int) time.Duration { return jobs[job].Cost } }
		alone, err := NewSchedule(0, jobs, nil)
		if err != nil {
			t.Fatal(err)
		}
		quiet := run(t, alone, 3*time.Second, took(jobs))

		both := append(slices.Clone(jobs), fast(7, 1, time.Duration(rapid.IntRange(5, 90).Draw(t, "fast cost"))*ms))
		s, err := NewSchedule(0, both, []Window{{Every: time.Second, Length: 400 * ms}})
		if err != nil {
			t.Fatal(err)
		}
		s.Allow(0, true)
		got := run(t, s, 3*time.Second, took(both))
		got = slices.DeleteFunc(got, func(b begun) bool { return b.Job == len(jobs) })

		// Keeping like requests apart may change the order inside one beat,
		// never the instants at which the bus works for routine jobs.
		instants := func(done []begun) map[string]int {
			beats := map[string]int{}
			for _, b := range done {
				beats[fmt.Sprint(b.Job, " ", b.At/jobs[b.Job].Period)]++
				if late := b.At % jobs[b.Job].Period; late > busy {
					t.Fatalf("job %d began %v after its beat, all routine jobs together take %v", b.Job, late, busy)
				}
			}
			return beats
		}
		if diff := cmp.Diff(instants(quiet), instants(got)); diff != "" {
			t.Fatalf("beats without (-) and with (+) fast jobs:\n%s", diff)
		}
	})
}

func TestLoadOf(t *testing.T) {
	t.Parallel()
	jobs := []Job{routine(1, 1, 1000*ms, 200*ms), slow(2, 1, 30000*ms, 300*ms), fast(3, 2, 20*ms)}
	windows := []Window{{Every: 60000 * ms, Length: 6000 * ms}}
	got := LoadOf(jobs, windows)
	// 0.2 and 0.01 of the time; fast takes the other 0.79 for a tenth of it.
	for _, c := range []struct {
		name      string
		got, want float64
	}{{"routine", got.Routine, 0.2}, {"slow", got.Slow, 0.01}, {"fast", got.Fast, 0.079}, {"average", got.Average(), 0.289}} {
		if math.Abs(c.got-c.want) > 1e-12 {
			t.Errorf("%s load %v, want %v", c.name, c.got, c.want)
		}
	}
	jobs[2].Period = 40 * ms // paced: half the window
	if got := LoadOf(jobs, windows).Fast; math.Abs(got-0.05) > 1e-12 {
		t.Errorf("paced fast load %v, want 0.05", got)
	}
}

// The sums are those of the formula, worked out by hand.
func TestWireTime(t *testing.T) {
	t.Parallel()
	line := func(baud int, p Parity, stop int) Line { return Line{Baud: baud, Parity: p, StopBits: stop} }
	tests := []struct {
		name  string
		s     Settings
		table Table
		count int
		want  time.Duration
	}{
		// (13+4)·11/9600 + 3·38.5/9600 s
		{"2 registers at 9600 baud", Settings{Kind: RTU, Line: line(9600, EvenParity, 1)}, HoldingRegisters, 2, 31510416},
		// (13+250)·11/115200 + 3·1.75 ms
		{"125 registers at 115200 baud", Settings{Kind: RTU, Line: line(115200, EvenParity, 1)}, InputRegisters, 125, 30362847},
		{"no parity and two stop bits is as long", Settings{Kind: RTU, Line: line(9600, NoParity, 2)}, HoldingRegisters, 2, 31510416},
		// (13+4)·10/9600 + 3·38.5/9600 s
		{"no parity and one stop bit is a bit shorter", Settings{Kind: RTU, Line: line(9600, NoParity, 1)}, HoldingRegisters, 2, 29739583},
		// (13+2)·11/19200 + 2·38.5/19200 s + 50 ms
		{"9 coils of a device that thinks for 50 ms", Settings{Kind: RTU, Line: line(19200, OddParity, 1), Turnaround: 50 * ms}, Coils, 9, 62604166},
		{"tcp", Settings{Kind: TCP}, HoldingRegisters, 125, 2 * ms},
		{"serial server, line unknown", Settings{Kind: RTUOverTCP}, HoldingRegisters, 125, 2 * ms},
		{"serial server, line known", Settings{Kind: RTUOverTCP, Line: line(9600, EvenParity, 1)}, HoldingRegisters, 2, 31510416},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if got := tt.s.WireTime(tt.table, tt.count); got/1000 != tt.want/1000 {
				t.Errorf("wire time %v, want %v", got, tt.want)
			}
		})
	}
}

// A window that is opened at once takes the place of a beat to come.
func TestWindowOpenedAtOnceSpendsABeatToCome(t *testing.T) {
	jobs := []Job{
		{Request: Request{Table: HoldingRegisters, Count: 1}, Class: Routine, Period: 1000 * ms, Cost: 10 * ms},
		{Request: Request{Table: InputRegisters, Count: 1}, Class: Fast, Period: 100 * ms, Cost: 10 * ms},
	}
	s, err := NewSchedule(0, jobs, []Window{{Every: 5000 * ms, Length: 1000 * ms}})
	if err != nil {
		t.Fatal(err)
	}
	var fast []time.Duration // when fast reads began, in whole seconds
	asked := []time.Duration{1500 * ms, 2500 * ms, 3500 * ms, 4500 * ms, 17500 * ms}
	granted := []bool{true, false, true, false, true}
	s.Allow(0, true)
	for now := time.Duration(0); now < 25000*ms; {
		for i := range asked {
			if asked[i] >= 0 && now >= asked[i] {
				if got := s.Open(0, now); got != granted[i] {
					t.Errorf("asked at %v: opened %v, want %v", now, got, granted[i])
				}
				asked[i] = -1
			}
		}
		job, at := s.Next(now)
		if job < 0 {
			now = at
			continue
		}
		s.Begin(job, now)
		if second := now.Truncate(500 * ms); job == 1 && (len(fast) == 0 || fast[len(fast)-1] != second) {
			fast = append(fast, second)
		}
		now += jobs[job].Cost
	}
	// Beats at 0, 5, 10, 15, 20 s: those of 5 and 10 s are taken ahead, that of 20 s later.
	want := []time.Duration{0, 500 * ms, 2000 * ms, 2500 * ms, 4000 * ms, 4500 * ms, 15000 * ms, 15500 * ms, 18000 * ms, 18500 * ms}
	if !slices.Equal(fast, want) {
		t.Errorf("fast reads in the half seconds from\n %v, want\n %v", fast, want)
	}
}
