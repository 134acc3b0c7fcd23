package alarm

import "time"

// A Joint is an alarm of one pump that may leave its call to another alarm: a
// pump that runs without flow to the lost circulation of its group, a limit on
// what several pumps share to the same limit of another pump. The alarm itself
// stands, is shown and wants to be acknowledged like any other. Its own call
// comes at once when nobody speaks for it any more, and after its time to
// respond when that call was acknowledged and it still stands.
type Joint struct {
	Alarm   string
	Point   string        // of a limit: what several pumps share; "" of a pump that runs without flow
	Level   Level         // as judged or as it stands, whichever is worse
	Soon    bool          // it stands at that level, or is about to
	Waits   bool          // it stands, and leaves its call to another
	Calls   bool          // a call of its own would call people at once
	Respond time.Duration // the time there is

	Priority  Priority
	Responder Responder
}

// soon is how long before its own delay is over an alarm is about to stand.
const soon = 15 * time.Second

// Joint gives what others must know of the alarm; ok is false while there is
// nothing. It is about to stand when it was judged for nearly after. An alarm
// that a flood holds back, or would, calls nobody.
func (m *Machine) Joint(d *Definition, point string, after time.Duration, flood *Flood) (j Joint, ok bool) {
	level := max(m.Level, m.Judged)
	if level == Clear {
		return j, false
	}
	held := m.Held
	if level == FarBeyond {
		held = m.WorseHeld
	}
	stands := m.Level >= level
	withheld := m.Waiting.Quiet || !stands && flood.Full()
	return Joint{
		Alarm: d.Name, Point: point, Level: level, Soon: stands || held >= after-soon, Waits: m.Carry.By != "",
		Calls: d.Class == Alarm && d.Notify == Now && !m.marked() && !withheld, Respond: d.TimeToRespond,
		Priority: d.priority(level), Responder: d.Responder,
	}, true
}

// SpeaksFor reports whether a call of j would reach whoever a call of other
// would, as urgently.
func (j *Joint) SpeaksFor(other *Joint) bool {
	return j.Calls && j.Responder == other.Responder && j.Priority >= other.Priority
}

// A carry is a call that is left to another alarm.
type carry struct {
	By       string        `json:"by,omitzero"`       // that alarm; "": this one calls by itself
	Answered bool          `json:"answered,omitzero"` // somebody has acknowledged that call
	For      time.Duration `json:"for,omitzero"`      // so long ago
	Gone     time.Duration `json:"gone,omitzero"`     // so long has nobody spoken for this one
}

// carryPatience is how long nobody need speak for an alarm that left its call
// to another: news from there takes a beat or two, and after a start some more.
const carryPatience = 10 * time.Second

// handOver leaves a call to the alarm that speaks for m too, if there is one.
func (m *Machine) handOver(e *Event) {
	m.Carry = carry{}
	if e.Notify == Now && m.by != "" {
		e.Notify, e.CarriedBy, m.Carry.By = NextWorkingDay, m.by, m.by
	}
}

// speakUp calls after all: nobody speaks for m any more, or who was called has
// acknowledged and m still stands after all the time there was.
func (m *Machine) speakUp(d *Definition, now *Moment, c *Condition, out []Event) []Event {
	k := &m.Carry
	switch {
	case k.By == "":
		return out
	case m.State != Unacknowledged || m.marked():
		*k = carry{} // seen, or gone, or silenced by somebody
		return out
	case c.CarriedBy != "":
		k.By, k.Gone, k.Answered = c.CarriedBy, 0, k.Answered || c.Answered
	default:
		k.Gone += now.Watched
	}
	if k.Answered {
		k.For += now.Elapsed
	}
	if k.Answered && k.For < d.TimeToRespond || !k.Answered && k.Gone < carryPatience {
		return out
	}
	*k, m.Waiting = carry{}, waiting{}
	return append(out, m.announce(d, now, c, Reminded, m.State))
}

// respond is the time there is: what a call speaks for may leave less than the
// definition.
func (m *Machine) respond(d *Definition) time.Duration {
	if m.Respond > 0 {
		return shorter(d.TimeToRespond, m.Respond)
	}
	return d.TimeToRespond
}
