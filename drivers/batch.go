package drivers

import (
	"time"
)

// An Instant is one moment in three tellings. SinceBoot orders moments of the
// same boot and measures between them; Wall is for people and calendars and
// may jump. (Go's own monotonic reading cannot be stored.)
type Instant struct {
	Wall         time.Time     `json:"wall"`         // UTC
	Boot         string        `json:"boot"`         // the kernel's boot id
	SinceBoot    time.Duration `json:"since_boot"`   // counts sleep too (CLOCK_BOOTTIME)
	Synchronized bool          `json:"synchronized"` // whether Wall was disciplined by a time source
}

// IsZero reports whether i was never set.
func (i Instant) IsZero() bool { return i.Boot == "" && i.SinceBoot == 0 && i.Wall.IsZero() }

// SameBoot reports whether SinceBoot of i and o can be compared.
func (i Instant) SameBoot(o Instant) bool { return i.Boot == o.Boot }

// Since returns the time from o to i. Within one boot it is exact. Across
// boots it is the difference of the wall clocks and known only when both were
// synchronised and it is not negative; otherwise known is false and the
// duration is 0.
func (i Instant) Since(o Instant) (elapsed time.Duration, known bool) {
	if i.SameBoot(o) {
		return i.SinceBoot - o.SinceBoot, true
	}
	if !i.Synchronized || !o.Synchronized {
		return 0, false
	}
	if d := i.Wall.Sub(o.Wall); d >= 0 {
		return d, true
	}
	return 0, false
}

// Before reports whether i is earlier than o in the same boot. Moments of
// different boots come in the order they are seen: never Before.
func (i Instant) Before(o Instant) bool { return i.SameBoot(o) && i.SinceBoot < o.SinceBoot }

// A Reading is one value of one signal, in the base unit of its dimension.
// On Bad quality Value is what was read, for showing raw; nobody computes
// with it. The zero Reading is bad.
type Reading struct {
	Signal  Signal
	Value   float64
	Quality Quality
	Reason  Reason
}

// A Batch is what a pump's rules are stepped with: the readings of one device
// answer and the commands of people, at one Instant. An empty one comes every
// beat: that is how time passes.
type Batch struct {
	At        Instant
	HalfWidth time.Duration // the readings were true within At ± HalfWidth
	Readings  []Reading
	Commands  []Command
	Group     Group // how the pump's group stands; the zero one is no news
}

// A Verb is what a person can ask of the rules.
type Verb string

// The verbs.
const (
	Acknowledge   Verb = "acknowledge"    // an alarm was seen
	Reset         Verb = "reset"          // let go of a latched alarm
	Shelve        Verb = "shelve"         // silence an alarm for a while
	Unshelve      Verb = "unshelve"       // end that
	Remove        Verb = "remove"         // take an alarm out of service
	Return        Verb = "return"         // put it back
	RecordService Verb = "record_service" // a service task was done
)

// A Command is a person's request. The rules answer each with a Change:
// accepted, or refused with the reason.
type Command struct {
	ID      string        `json:"command_id"` // the sender's own, unique; a repeat is refused
	User    string        `json:"user"`
	Verb    Verb          `json:"verb"`
	Alarm   string        `json:"alarm,omitempty"`   // the alarm's name
	Task    string        `json:"task,omitempty"`    // the service task's name
	For     time.Duration `json:"for,omitempty"`     // shelve: how long; remove: until review
	Comment string        `json:"comment,omitempty"` // why

	// Service, of record_service, is the whole of what a person says; nil is
	// that Task was done now, and nothing more is known.
	Service *ServiceEntry `json:"service,omitempty"`
}
