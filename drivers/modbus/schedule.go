package modbus

import (
	"cmp"
	"fmt"
	"time"
)

// A Class says how often something is read.
type Class uint8

// The read classes. Routine has the right of way, then slow; fast gets what
// they leave, and only inside its window.
const (
	Routine Class = iota + 1
	Slow
	Fast
)

var classNames = [...]string{Routine: "routine", Slow: "slow", Fast: "fast"}

func (c Class) String() string {
	if c < Routine || c > Fast {
		return fmt.Sprintf("class %d", uint8(c))
	}
	return classNames[c]
}

// FastPeriod is the usual least time between two fast reads: 50 a second show
// the first orders of pumps up to 1,750 rpm when their instants are irregular,
// and more would only cost a gateway's processor.
const FastPeriod = 20 * time.Millisecond

// A Job is a request with its beat.
type Job struct {
	Request Request
	Class   Class
	Period  time.Duration // the beat; for Fast the least time between two, zero for as fast as the bus allows
	Cost    time.Duration // what the transaction is expected to take: Settings.WireTime
	Window  int           // index of the Window a Fast job runs in
}

// A Window is when fast jobs run: for Length on every beat.
type Window struct {
	Every, Length time.Duration
}

// A Schedule says what a bus does next. It is pure: it takes the time as the
// caller has it, as a duration since any instant the caller likes. Ask Next,
// wait for its time, call Begin, do the job, ask again.
//
// Beats do not drift: the k-th one of a job lies k periods after the start,
// however late the ones before were served. A beat that is over before its job
// could begin is missed, not made up for.
type Schedule struct {
	jobs    []job
	windows []window
	last    int // the job begun last, -1 at first
	patient time.Duration
}

type job struct {
	Job
	due    time.Duration // next beat; Fast: earliest next begin
	missed int
	alike  int // other jobs whose answers could be taken for this one's
}

type window struct {
	Window
	first   time.Duration // when it opens for the first time
	allowed bool
	asked   time.Duration // until when it is open because of [Schedule.Open]
	spent   time.Duration // no beat before that opens it
}

// NewSchedule returns a schedule whose first beats are at start. Windows are
// closed until Allow; they begin one after the other so that they do not meet.
func NewSchedule(start time.Duration, jobs []Job, windows []Window) (*Schedule, error) {
	s := &Schedule{last: -1}
	for i, w := range windows {
		if w.Every <= 0 || w.Length <= 0 || w.Length > w.Every {
			return nil, fmt.Errorf("window %d is open for %v every %v; want a part of a beat", i, w.Length, w.Every)
		}
		first := start + time.Duration(i)*w.Every/time.Duration(len(windows))
		s.windows = append(s.windows, window{Window: w, first: first})
	}
	for i, j := range jobs {
		if err := j.check(len(windows)); err != nil {
			return nil, fmt.Errorf("job %d: %w", i, err)
		}
		s.jobs = append(s.jobs, job{Job: j, due: start})
		if j.Class == Routine && (s.patient == 0 || j.Period < s.patient) {
			s.patient = j.Period
		}
	}
	s.countAlike()
	return s, nil
}

func (j *Job) check(windows int) error {
	switch {
	case j.Class < Routine || j.Class > Fast:
		return fmt.Errorf("%v; want routine, slow or fast", j.Class)
	case j.Class != Fast && j.Period <= 0:
		return fmt.Errorf("%v without a period", j.Class)
	case j.Class == Fast && (j.Window < 0 || j.Window >= windows):
		return fmt.Errorf("fast in window %d of %d", j.Window, windows)
	case j.Cost <= 0:
		return fmt.Errorf("costs %v; want what it takes on the wire", j.Cost)
	}
	return nil
}

func (s *Schedule) countAlike() {
	for i := range s.jobs {
		for j := range s.jobs {
			if i != j && s.jobs[i].Class == s.jobs[j].Class && alike(s.jobs[i].Request, s.jobs[j].Request) {
				s.jobs[i].alike++
			}
		}
	}
}

// alike reports whether on an RTU line a late answer to one request could pass
// for the answer to the other.
func alike(a, b Request) bool {
	return a.Unit == b.Unit && a.Table == b.Table && a.Table.dataBytes(int(a.Count)) == b.Table.dataBytes(int(b.Count))
}

// Allow opens or shuts a window: fast reading makes sense only while the pump
// runs steadily.
func (s *Schedule) Allow(window int, allowed bool) { s.windows[window].allowed = allowed }

// Open opens a window now, allowed or not, in place of a beat to come, so that
// over time it is open no more than it always was. At most two beats are taken
// ahead, one for a stop and one for the start after it. It is false when the
// window is open so already, or there is no beat to take.
func (s *Schedule) Open(window int, now time.Duration) bool {
	w := &s.windows[window]
	if now < w.asked || w.spent > now+w.Every {
		return false
	}
	w.asked, w.spent = now+w.Length, max(now, w.spent)+w.Every
	return true
}

// Missed returns how many beats of a job went by without it.
func (s *Schedule) Missed(job int) int { return s.jobs[job].missed }

// Next returns the job to begin now, or -1 and the time at which to ask again.
// It never returns a time before now.
func (s *Schedule) Next(now time.Duration) (job int, at time.Duration) {
	if i := s.starving(now); i >= 0 {
		return i, now
	}
	if i := s.best(Routine, now, now); i >= 0 {
		return i, now
	}
	routine := s.earliest(Routine)
	for _, c := range []Class{Slow, Fast} {
		if i := s.best(c, now, routine); i >= 0 {
			return i, now
		}
	}
	return -1, max(now, s.wake(now, routine))
}

// Begin notes that a job begins now.
func (s *Schedule) Begin(job int, now time.Duration) {
	j := &s.jobs[job]
	s.last = job
	if j.Class == Fast {
		j.due = now + max(j.Period, j.Cost) // a read that fails at once is not repeated at once
		return
	}
	beats := max(0, now-j.due)/j.Period + 1
	j.due += beats * j.Period
	j.missed += int(beats) - 1
}

// starving returns a slow job that has waited for a whole beat of its own, or
// -1. Such a job goes first: on a bus slowed down by dead units it would never
// get its turn.
func (s *Schedule) starving(now time.Duration) int {
	for i := range s.jobs {
		if j := &s.jobs[i]; j.Class == Slow && now-j.due >= j.Period {
			return i
		}
	}
	return -1
}

// best returns the job of a class that should begin now, or -1. All but
// routine jobs must be over by the time limit.
func (s *Schedule) best(c Class, now, limit time.Duration) int {
	best := -1
	for i := range s.jobs {
		if s.jobs[i].Class == c && s.mayBegin(&s.jobs[i], now, limit) && (best < 0 || s.before(i, best)) {
			best = i
		}
	}
	return best
}

func (s *Schedule) mayBegin(j *job, now, limit time.Duration) bool {
	fits := now+j.Cost <= limit
	switch {
	case now < j.due:
		return false
	case j.Class == Slow:
		return fits || now-j.due >= s.patient // has waited for a whole routine beat
	case j.Class == Fast:
		return fits && s.windows[j.Window].open(now)
	}
	return true
}

// before orders two jobs of one class that may both begin.
func (s *Schedule) before(a, b int) bool {
	return cmp.Or(
		compareBool(s.likeLast(a), s.likeLast(b)),
		cmp.Compare(s.jobs[a].due, s.jobs[b].due),
		cmp.Compare(s.jobs[b].alike, s.jobs[a].alike), // those hard to part from others early
		cmp.Compare(a, b),
	) < 0
}

func (s *Schedule) likeLast(job int) bool {
	return s.last >= 0 && alike(s.jobs[s.last].Request, s.jobs[job].Request)
}

func compareBool(a, b bool) int {
	switch {
	case a == b:
		return 0
	case b:
		return -1
	}
	return 1
}

// never is later than any time a schedule is asked for.
const never = time.Duration(1<<63 - 1)

// earliest returns the next beat of a class.
func (s *Schedule) earliest(c Class) time.Duration {
	at := never
	for i := range s.jobs {
		if s.jobs[i].Class == c {
			at = min(at, s.jobs[i].due)
		}
	}
	return at
}

// wake returns when it is worth asking again, given that nothing may begin now.
func (s *Schedule) wake(now, routine time.Duration) time.Duration {
	at := routine
	for i := range s.jobs {
		switch j := &s.jobs[i]; {
		case j.Class == Slow && j.due > now:
			at = min(at, j.due)
		case j.Class == Slow:
			at = min(at, j.due+s.patient)
		case j.Class == Fast:
			if t := s.windows[j.Window].next(max(now, j.due)); t > now {
				at = min(at, t)
			}
		}
	}
	return at
}

// open reports whether fast jobs may begin now.
func (w *window) open(now time.Duration) bool { return w.next(now) == now }

// next returns the first instant from t on at which the window is open.
func (w *window) next(t time.Duration) time.Duration {
	switch {
	case t < w.asked:
		return t
	case !w.allowed:
		return never
	}
	beat := w.first + max(0, t-w.first)/w.Every*w.Every
	if t-beat >= w.Length {
		beat += w.Every
	}
	if beat < w.spent {
		beat += (w.spent - beat + w.Every - 1) / w.Every * w.Every
	}
	return max(t, beat)
}
