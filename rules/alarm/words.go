package alarm

import "fmt"

// A State is where one alarm stands.
type State uint8

// The states.
const (
	Normal State = iota
	Unacknowledged
	Acknowledged
	ReturnedUnacknowledged
	LatchedUnacknowledged
	LatchedAcknowledged
)

var stateWords = []string{"normal", "unacknowledged", "acknowledged", "returned_unacknowledged", "latched_unacknowledged", "latched_acknowledged"}

// Active reports whether the condition behind the alarm holds in state s.
func (s State) Active() bool { return s == Unacknowledged || s == Acknowledged }

// NeedsAcknowledge reports whether a person has yet to see it.
func (s State) NeedsAcknowledge() bool {
	return s == Unacknowledged || s == ReturnedUnacknowledged || s == LatchedUnacknowledged
}

// A Class says what an alarm is for.
type Class uint8

// The classes: Alarm, someone must act in time; Advisory, maintenance;
// Record, the journal only.
const (
	Alarm Class = iota
	Advisory
	Record
)

var classWords = []string{"alarm", "advisory", "record"}

// A Priority orders what to do first.
type Priority uint8

// The priorities, lowest first.
const (
	Low Priority = iota
	Medium
	High
)

var priorityWords = []string{"low", "medium", "high"}

// A Responder is who acts.
type Responder uint8

// The responders.
const (
	Journal Responder = iota
	Automation
	Mechanic
	ControlRoom
)

var responderWords = []string{"journal", "automation", "mechanic", "control_room"}

// A Notify is when the responder is told.
type Notify uint8

// The times of telling.
const (
	Never Notify = iota
	NextWorkingDay
	Now
)

var notifyWords = []string{"never", "next_working_day", "now"}

// A Kind is what happened, for the journal.
type Kind uint8

// The kinds. Refused and Recorded belong to no state machine: a command that
// was refused with a reason, and a fact worth keeping.
const (
	Raised Kind = iota
	Worsened
	Eased
	Cleared
	AcknowledgedBy
	ResetBy
	Shelved
	Unshelved
	Suppressed
	Unsuppressed
	RemovedFromService
	ReturnedToService
	Chattering
	Settled
	Summary
	Recorded
	ServiceRecorded
	Refused
	Reminded  // still there long after it was acknowledged, or its review is due
	Escalated // nobody has acknowledged it: the next person is called
)

var kindWords = []string{
	"raised", "worsened", "eased", "cleared", "acknowledged", "reset", "shelved", "unshelved", "suppressed", "unsuppressed",
	"removed_from_service", "returned_to_service", "chattering", "settled", "summary", "recorded", "service_recorded", "refused", "reminded", "escalated",
}

// A Known is a yes or no that may be unknown; the zero value is unknown.
type Known uint8

// The three answers.
const (
	Unknown Known = iota
	No
	Yes
)

var knownWords = []string{"unknown", "no", "yes"}

// KnownBool gives Yes or No.
func KnownBool(b bool) Known {
	if b {
		return Yes
	}
	return No
}

// Each of the types above is written and read as its word.

func (s State) String() string     { return word(stateWords, int(s)) }
func (c Class) String() string     { return word(classWords, int(c)) }
func (p Priority) String() string  { return word(priorityWords, int(p)) }
func (r Responder) String() string { return word(responderWords, int(r)) }
func (n Notify) String() string    { return word(notifyWords, int(n)) }
func (k Kind) String() string      { return word(kindWords, int(k)) }
func (k Known) String() string     { return word(knownWords, int(k)) }

func (s State) MarshalText() ([]byte, error)     { return []byte(s.String()), nil }
func (c Class) MarshalText() ([]byte, error)     { return []byte(c.String()), nil }
func (p Priority) MarshalText() ([]byte, error)  { return []byte(p.String()), nil }
func (r Responder) MarshalText() ([]byte, error) { return []byte(r.String()), nil }
func (n Notify) MarshalText() ([]byte, error)    { return []byte(n.String()), nil }
func (k Kind) MarshalText() ([]byte, error)      { return []byte(k.String()), nil }
func (k Known) MarshalText() ([]byte, error)     { return []byte(k.String()), nil }

func (s *State) UnmarshalText(t []byte) error     { return unword(s, stateWords, t, "alarm state") }
func (c *Class) UnmarshalText(t []byte) error     { return unword(c, classWords, t, "alarm class") }
func (p *Priority) UnmarshalText(t []byte) error  { return unword(p, priorityWords, t, "priority") }
func (r *Responder) UnmarshalText(t []byte) error { return unword(r, responderWords, t, "responder") }

func (n *Notify) UnmarshalText(t []byte) error { return unword(n, notifyWords, t, "time of notice") }

func (k *Kind) UnmarshalText(t []byte) error  { return unword(k, kindWords, t, "kind of event") }
func (k *Known) UnmarshalText(t []byte) error { return unword(k, knownWords, t, "answer") }

func word(words []string, i int) string {
	if i < len(words) {
		return words[i]
	}
	return fmt.Sprintf("unknown_%d", i)
}

func unword[T ~uint8](to *T, words []string, text []byte, what string) error {
	for i, w := range words {
		if w == string(text) {
			*to = T(i)
			return nil
		}
	}
	return fmt.Errorf("%q is not a %s", text, what)
}
