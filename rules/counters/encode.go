package counters

import (
	"encoding/json"
	"errors"
	"fmt"
	"time"
)

// MarshalJSON writes the State for people and tools to read; it is exact.
func (s State) MarshalJSON() ([]byte, error) {
	type plain State
	return json.Marshal(plain(s))
}

// UnmarshalJSON reads what MarshalJSON wrote, of this version or an earlier
// one, and refuses a later one.
func (s *State) UnmarshalJSON(text []byte) error {
	type plain State
	var p plain
	if err := json.Unmarshal(text, &p); err != nil {
		return err
	}
	if p.Version > version {
		return fmt.Errorf("counters of version %d, this program knows %d", p.Version, version)
	}
	*s = State(p)
	s.upgrade()
	return nil
}

// upgrade makes a State of an earlier version one of this. What waits for the
// meter's kind was unobserved time, as far as the earlier version knew.
func (s *State) upgrade() {
	if s.Version == 1 {
		s.Version, s.Hours.Awaiting.Unobserved = version, s.Hours.Awaiting.Run
	}
}

// AppendBinary appends the whole State in its packed form, about two hundred
// and fifty bytes, for the row written every minute. It never fails.
func (s *State) AppendBinary(b []byte) ([]byte, error) {
	e := encoder{b}
	c := *s // fields takes a State that may be written to
	c.fields(&e)
	return e.b, nil
}

// MarshalBinary gives the packed form.
func (s *State) MarshalBinary() ([]byte, error) { return s.AppendBinary(nil) }

// UnmarshalBinary reads the packed form. On an error s is unchanged.
func (s *State) UnmarshalBinary(b []byte) error {
	if len(b) == 0 {
		return errors.New("counters are empty")
	}
	if b[0] > version {
		return fmt.Errorf("counters of version %d, this program knows %d", b[0], version)
	}
	var back State
	d := decoder{b: b}
	back.fields(&d)
	switch {
	case d.bad:
		return fmt.Errorf("%d bytes are not counters: cut short, or a number that is none", len(b))
	case len(d.b) > 0:
		return fmt.Errorf("counters have %d bytes too many", len(d.b))
	}
	back.upgrade()
	*s = back
	return nil
}

// fields lists everything, what others are like first.
func (s *State) fields(c codec) {
	unsigned(c, &s.Version)
	c.text(&s.Boot)
	now, told := &s.Frame.Now, &s.Running.At
	now.fields(c, moment{})
	s.Running.fields(c, *now)
	s.Counted.fields(c)
	s.Seen.fields(c, told.At)
	s.Frame.fields(c, &s.Seen)
	s.Held.fields(c)
	s.Gap.fields(c, *told)
	s.Hours.fields(c, told.At)
	s.Turns.fields(c, told.At)
	s.Ripple.Filling.fields(c, told.At)
	s.Ripple.Before.fields(c, told.At)
	s.Starts.fields(c, told.At)
	if s.Version >= 2 {
		s.reckonedFields(c)
	}
}

// reckonedFields came with version 2.
func (s *State) reckonedFields(c codec) {
	singles(c, &s.Running.Usual)
	float(c, &s.Counted.Reckoned)
	float(c, &s.Turns.Owed)
	if s.Gap.Open {
		float(c, &s.Turns.Unseen)
	}
	if a := &s.Hours.Awaiting; a.Run > 0 {
		durations(c, &a.Unobserved, &a.Loose)
		float(c, &a.Turns)
	}
}

func (t *Counted) fields(c codec) {
	durations(c, &t.Run, &t.Stopped, &t.Unobserved, &t.AtLeast, &t.AtMost, &t.FromMeter, &t.FromMeterLoose)
	unsigned(c, &t.Unbounded)
	unsigned(c, &t.Starts)
	float(c, &t.Revolutions)
	float(c, &t.Pumped)
	float(c, &t.Energy)
}

// fields: while no clock steps, the walls of two moments differ as their
// times since boot do.
func (m *moment) fields(c codec, like moment) {
	c.duration(&m.At, like.At)
	c.duration((*time.Duration)(&m.Wall), time.Duration(like.Wall)+m.At-like.At)
	c.flags(&m.Synchronized)
}

func (r *running) fields(c codec, now moment) {
	c.flags(&r.Known, &r.Motor, &r.Own, &r.Agrees, &r.Sharp, &r.Exact, &r.Disputed)
	r.At.fields(c, now)
	float(c, &r.RPM)
	unsigned(c, &r.Settled)
	c.duration(&r.Flipped, r.At.At)
	c.duration(&r.Since, r.Flipped)
}

func (s *seen) fields(c codec, told time.Duration) {
	unsigned(c, &s.Have)
	unsigned(c, &s.Across)
	for k := range slotN {
		if s.Have.has(k) {
			float(c, &s.Values[k])
			c.duration(&s.At[k], told)
		}
	}
}

func (f *frame) fields(c codec, before *seen) {
	unsigned(c, &f.Fresh)
	for k := range slotN {
		if f.Fresh.has(k) {
			c.float(&f.Values[k], before.Values[k])
		}
	}
}

func (h *held) fields(c codec) {
	durations(c, &h.Run, &h.Stopped, &h.Dispute)
	float(c, &h.Turns)
}

func (g *gap) fields(c codec, told moment) {
	u := &g.Undated
	c.flags(&g.Rebooted, &u.Datable, &g.Open)
	unsigned(c, &g.Loose)
	durations(c, &g.Budget, &g.Most)
	if u.Datable {
		u.Before.fields(c, told)
		c.duration(&u.End, told.At)
	}
}

func (h *hours) fields(c codec, told time.Duration) {
	c.flags(&h.Seen, &h.Unbroken, &h.Doubt.Raised)
	unsigned(c, &h.Kind)
	durations(c, &h.DriveRun, &h.Still)
	if !h.Seen {
		return
	}
	c.duration(&h.Raw, 0)
	c.duration(&h.Value, h.Raw)
	c.duration(&h.QuietSince, told)
	c.duration(&h.Offset.Lo, h.Value-h.DriveRun)
	c.duration(&h.Offset.Hi, h.Offset.Lo)
	durations(c, &h.Base.Lo, &h.Base.Hi, &h.Awaiting.Run)
	if h.Doubt.Raised {
		durations(c, &h.Doubt.Raw, &h.Doubt.At)
	}
}

func (x *turns) fields(c codec, told time.Duration) {
	c.duration(&x.Moved, told)
	c.duration(&x.Lost, 0)
	for _, f := range []*float64{&x.BySpeed, &x.Lent, &x.RPM, &x.ByIndex, &x.Beside} {
		float(c, f)
	}
	c.flags(&x.Disagrees, &x.Blind)
}

func (w *window) fields(c codec, told time.Duration) {
	unsigned(c, &w.Samples)
	if w.Samples == 0 {
		return
	}
	c.duration(&w.Start, told)
	singles(c, &w.Low, &w.High, &w.Rise, &w.Fall)
}

func (s *starts) fields(c codec, told time.Duration) {
	unsigned(c, &s.N)
	s.N = min(s.N, uint8(len(s.At)))
	for i := range s.N {
		c.duration(&s.At[i], told)
		told = s.At[i]
	}
}
