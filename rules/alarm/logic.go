package alarm

import (
	"fmt"
	"strings"
)

// A Logic is a set of named conditions of operation under which an alarm says
// nothing new. An alarm is suppressed while any condition it lists holds; an
// alarm that lists none is never suppressed.
type Logic uint16

// The conditions. PumpStopped may be listed by few alarms only: see
// [Definition.Validate].
const (
	PumpStopped  Logic = 1 << iota // the pump is known to stand still
	StartUp                        // the alarm's own Blanking since the last start is not over
	ColdStart                      // the glycol is not yet warm after a start
	AfterService                   // a service record is younger than the settling window
	SharedSignal                   // another pump works on the same header, so the signal is not this pump's own
	PowerLost                      // control power is gone: one message says so
)

var logicWords = []string{"pump_stopped", "start_up", "cold_start", "after_service", "shared_signal", "power_lost"}

// Words lists the names in l, in the order of the constants.
func (l Logic) Words() []string {
	var list []string
	for i, w := range logicWords {
		if l&(1<<i) != 0 {
			list = append(list, w)
		}
	}
	return list
}

// String gives the names in l, parted by commas; "" for none.
func (l Logic) String() string { return strings.Join(l.Words(), ",") }

// MarshalText writes what String gives.
func (l Logic) MarshalText() ([]byte, error) { return []byte(l.String()), nil }

// UnmarshalText reads what MarshalText wrote.
func (l *Logic) UnmarshalText(text []byte) error {
	*l = 0
	for name := range strings.SplitSeq(string(text), ",") {
		if name == "" {
			continue
		}
		one, ok := LogicNamed(name)
		if !ok {
			return fmt.Errorf("%q is not a condition that can suppress; use one of %s", name, strings.Join(logicWords, ", "))
		}
		*l |= one
	}
	return nil
}

// LogicNamed finds one condition by its name.
func LogicNamed(name string) (Logic, bool) {
	for i, w := range logicWords {
		if w == name {
			return 1 << i, true
		}
	}
	return 0, false
}
