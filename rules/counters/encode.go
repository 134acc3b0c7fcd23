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
	return nil
}

// AppendBinary appends the whole State in its packed form, about two hundred
// bytes, for the row written every minute. It never fails.
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
	*s = back
	return nil
}

func (s *State) fields(c codec) {
	unsigned(c, &s.Version)
	c.text(&s.Boot)
	s.Counted.fields(c)
	s.Frame.fields(c)
	s.Seen.fields(c)
	s.Running.fields(c)
	s.Held.fields(c)
	s.Gap.fields(c)
	s.Hours.fields(c)
	s.Turns.fields(c)
	s.Ripple.Filling.fields(c)
	s.Ripple.Before.fields(c)
	s.Starts.fields(c)
}

func (t *Counted) fields(c codec) {
	durations(c, &t.Run, &t.Stopped, &t.Unobserved, &t.AtLeast, &t.AtMost, &t.FromMeter, &t.FromMeterLoose)
	unsigned(c, &t.Unbounded)
	unsigned(c, &t.Starts)
	c.float(&t.Revolutions)
	c.float((*float64)(&t.Pumped))
	c.float((*float64)(&t.Energy))
}

func (m *moment) fields(c codec) {
	c.duration(&m.At)
	wall := time.Duration(m.Wall)
	c.duration(&wall)
	m.Wall = int64(wall)
	c.flags(&m.Synchronized)
}

func (f *frame) fields(c codec) {
	f.Now.fields(c)
	unsigned(c, &f.Fresh)
	for k := range slotN {
		if f.Fresh.has(k) {
			c.float(&f.Values[k])
		}
	}
}

func (s *seen) fields(c codec) {
	unsigned(c, &s.Have)
	unsigned(c, &s.Across)
	for k := range slotN {
		if s.Have.has(k) {
			c.float(&s.Values[k])
			c.duration(&s.At[k])
		}
	}
}

func (r *running) fields(c codec) {
	c.flags(&r.Known, &r.Motor, &r.Own, &r.Agrees, &r.Sharp, &r.Exact, &r.Disputed)
	r.At.fields(c)
	c.float(&r.RPM)
	unsigned(c, &r.Settled)
	durations(c, &r.Flipped, &r.Since)
}

func (h *held) fields(c codec) {
	durations(c, &h.Run, &h.Stopped, &h.Dispute)
	c.float(&h.Turns)
}

func (g *gap) fields(c codec) {
	c.flags(&g.Rebooted, &g.Datable, &g.Open)
	g.Before.fields(c)
	unsigned(c, &g.Loose)
	durations(c, &g.End, &g.Budget, &g.Most)
}

func (h *hours) fields(c codec) {
	c.flags(&h.Seen, &h.Unbroken, &h.Doubt.Raised)
	unsigned(c, &h.Kind)
	durations(c, &h.Raw, &h.Value, &h.DriveRun, &h.Still, &h.QuietSince, &h.Offset.Lo, &h.Offset.Hi, &h.Base.Lo, &h.Base.Hi,
		&h.Awaiting, &h.Doubt.Raw, &h.Doubt.At)
}

func (x *turns) fields(c codec) {
	durations(c, &x.Moved, &x.Lost)
	for _, f := range []*float64{&x.BySpeed, &x.Lent, &x.RPM, &x.ByIndex, &x.Beside} {
		c.float(f)
	}
	c.flags(&x.Disagrees)
}

func (w *window) fields(c codec) {
	c.duration(&w.Start)
	unsigned(c, &w.Samples)
	for _, f := range []*float32{&w.Low, &w.High, &w.Rise, &w.Fall} {
		wide := float64(*f)
		c.float(&wide)
		*f = float32(wide)
	}
}

func (s *starts) fields(c codec) {
	unsigned(c, &s.N)
	s.N = min(s.N, uint8(len(s.At)))
	for i := range s.N {
		c.duration(&s.At[i])
	}
}

func durations(c codec, all ...*time.Duration) {
	for _, d := range all {
		c.duration(d)
	}
}

func unsigned[T ~int | ~uint8 | ~uint16 | ~uint32 | ~uint64](c codec, field *T) {
	n := uint64(*field)
	c.number(&n)
	*field = T(n)
}
