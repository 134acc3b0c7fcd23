package alarm

import (
	"errors"
	"fmt"
	"slices"
	"time"

	"pumpside/drivers"
	"pumpside/drivers/quantity"
)

// A Definition is one alarm as the configuration fixes it. Its zero delays
// mean at once.
type Definition struct {
	Name      string             // unique on its board; lower-case letters, digits, _ and -
	Text      string             // key in the catalogue
	WorseText string             // key beyond the worse limit; "" for the same
	Signal    drivers.Signal     // what it judges, or NoSignal
	Subject   string             // what it is about when not a signal: a task, a device, a bus, a site-named signal
	Group     string             // the group of pumps it is about, "" for none
	Dimension quantity.Dimension // of value and limit
	Rule      Rule               // how its condition is judged

	Class         Class
	Priority      Priority
	WorsePriority Priority // beyond the worse limit; never below Priority
	Responder     Responder
	Notify        Notify
	TimeToRespond time.Duration // from the raise to the consequence

	Latching bool          // stays after its condition cleared, until reset
	OnDelay  time.Duration // the condition must hold so long before it raises
	OffDelay time.Duration // and must be gone so long before it clears
	WorseOff time.Duration // gone so long from beyond the worse limit it eases; 0 takes worseOffDefault, or OffDelay when that is longer
	ReAlarm  time.Duration // announced again when still there so long after it was acknowledged; 0 for never
	// EscalateAfter is how long an announcement waits for each level of
	// escalation; 0 for never. See [Definition.Escalated].
	EscalateAfter time.Duration

	SuppressedBy Logic         // conditions under which it says nothing new
	Blanking     time.Duration // after each start of the pump it counts as suppressed by StartUp
	WhileRunning bool          // its condition cannot hold while the pump stands: low motor current, for one
}

// worseOffDefault is how long a value must have come back inside its worse limit
// before passing it again is news: one that hovers there calls once (our own
// choice, no source).
const worseOffDefault = 10 * time.Minute

func (d *Definition) worseOff() time.Duration {
	if d.WorseOff > 0 {
		return d.WorseOff
	}
	return max(d.OffDelay, worseOffDefault)
}

// mayRestWhileStopped are the texts an alarm must have to list PumpStopped. A
// standing pump can still be flooded backwards, lose oil or leak, so that
// nothing else is silenced by it.
var mayRestWhileStopped = []string{"glycol_flow_low", "discharge_pressure_low", "efficiency_low", "loss_in_one_head", "finding"}

// Validate says everything that is wrong with d, or nil.
func (d *Definition) Validate() error {
	var list []error
	add := func(format string, args ...any) {
		list = append(list, fmt.Errorf("alarm %q: "+format, append([]any{d.Name}, args...)...))
	}
	if !topicSafe(d.Name) {
		add("the name must be of lower-case letters, digits, _ and -")
	}
	for _, key := range []string{d.Text, d.WorseText} {
		if _, known := TextOf(key); key != "" && !known {
			add("there is no text %q in the catalogue", key)
		}
	}
	if d.Text == "" {
		add("text is missing")
	}
	if d.WorsePriority < d.Priority {
		add("priority %v of the worse limit is below %v of the first", d.WorsePriority, d.Priority)
	}
	if min(d.OnDelay, d.OffDelay, d.WorseOff, d.Blanking, d.ReAlarm, d.EscalateAfter, d.TimeToRespond) < 0 {
		add("a time is below zero")
	}
	if d.SuppressedBy&PumpStopped != 0 && !slices.Contains(mayRestWhileStopped, d.Text) {
		add("a stopped pump must not suppress it")
	}
	if d.Class == Alarm && (d.Responder == Journal || d.TimeToRespond == 0) {
		add("an alarm needs a responder and a time to respond")
	}
	if err := d.Rule.validate(); err != nil {
		add("%w", err)
	}
	return errors.Join(list...)
}

// ValidateAll checks each of defs and that no name comes twice.
func ValidateAll(defs []Definition) error {
	var list []error
	seen := map[string]bool{}
	for i := range defs {
		if err := defs[i].Validate(); err != nil {
			list = append(list, err)
		}
		if name := defs[i].Name; seen[name] {
			list = append(list, fmt.Errorf("alarm %q: the name is used twice", name))
		} else {
			seen[name] = true
		}
	}
	return errors.Join(list...)
}

func (d *Definition) priority(l Level) Priority {
	if l == FarBeyond {
		return d.WorsePriority
	}
	return d.Priority
}

func (d *Definition) text(l Level) string {
	if l == FarBeyond && d.WorseText != "" {
		return d.WorseText
	}
	return d.Text
}

// suppressedBy gives the conditions that silence d at that moment, was being
// those that did before. Blanking needs a start that was seen: while nobody
// knows whether the pump runs nothing is blanked anew, and what was suppressed
// stays so.
func (d *Definition) suppressedBy(now *Moment, was Logic) Logic {
	by := d.SuppressedBy & now.Logic
	if d.Blanking > 0 && now.SinceStart < d.Blanking && now.Logic&PumpStopped == 0 && (now.SinceStart > 0 || was != 0) {
		by |= StartUp
	}
	return by
}

func topicSafe(name string) bool {
	for _, r := range name {
		if (r < 'a' || r > 'z') && (r < '0' || r > '9') && r != '_' && r != '-' {
			return false
		}
	}
	return name != ""
}
