package counters

import (
	"fmt"
	"time"

	"pumpside/drivers"
)

// A Kind says what became known; the comment names the fields that go with it.
type Kind uint8

// The kinds of event.
const (
	Started         Kind = iota + 1 // For: how long the pump had stood, 0 when not known
	Stopped                         // For: how long it had run, 0 when not known
	Disputed                        // For: the time that became unobserved
	Resolved                        // For: how long it was disputed since then
	GapUnobserved                   // For, Unbounded: its length, or the least it can be
	GapDated                        // For: what the synchronised clock added to its length
	GapClosed                       // Run, AtMost, Unbounded, Reckoned: run time credited, and what more the gap may hold
	MeterRolledOver                 // Meter, From, To: as read, in the signal's base unit
	MeterReplaced                   // Meter, From, To; also a new drive, or a counter that was reset
	MeterAmbiguous                  // Meter, From, To: it may have rolled over more than once
	MeterPowerOn                    // From, To: the hour meter ticked while the drive was stopped
	MeterRun                        // For: how long it was seen standing still with the drive
	IndexDisagrees                  // From, To: revolutions by motor speed and by index; belt slip, coupling, wrong ratio or lost pulses
	IndexAgrees                     // From, To
	kinds
)

var kindWords = [kinds]string{
	"", "pump_started", "pump_stopped", "running_disputed", "running_resolved", "gap_unobserved", "gap_dated", "gap_closed",
	"meter_rolled_over", "meter_replaced", "meter_ambiguous", "meter_counts_power_on", "meter_counts_run", "index_disagrees", "index_agrees",
}

// String gives the word for k in the journal.
func (k Kind) String() string { return word(kindWords[:], uint8(k)) }

// MarshalText writes the word for k.
func (k Kind) MarshalText() ([]byte, error) { return []byte(k.String()), nil }

// UnmarshalText reads what MarshalText wrote.
func (k *Kind) UnmarshalText(text []byte) error {
	i, err := wordIndex("kind of counter event", kindWords[:], string(text))
	*k = Kind(i)
	return err
}

// A Meter is one of the counters that are read, not kept.
type Meter uint8

// The meters.
const (
	NoMeter Meter = iota
	DriveHours
	ShaftPulses
	VolumeTotal
	meters
)

var meterWords = [meters]string{"", "drive_run_hours", "shaft_index", "glycol_volume"}

// String gives the name of the meter's signal.
func (m Meter) String() string { return word(meterWords[:], uint8(m)) }

// MarshalText writes the name of the meter's signal.
func (m Meter) MarshalText() ([]byte, error) { return []byte(m.String()), nil }

// UnmarshalText reads what MarshalText wrote.
func (m *Meter) UnmarshalText(text []byte) error {
	i, err := wordIndex("meter", meterWords[:], string(text))
	*m = Meter(i)
	return err
}

// An Event is something for the journal. Fields that do not go with the kind
// are zero.
type Event struct {
	Kind      Kind            `json:"event"`
	At        drivers.Instant `json:"at"` // when it became known
	For       time.Duration   `json:"for,omitempty"`
	Run       time.Duration   `json:"run,omitempty"`
	AtMost    time.Duration   `json:"at_most,omitempty"`
	Unbounded bool            `json:"unbounded,omitempty"` // the length of the gap is not known
	Reckoned  float64         `json:"reckoned,omitempty"`  // revolutions over Run that nothing counted
	Meter     Meter           `json:"meter,omitempty"`
	From      float64         `json:"from,omitempty"`
	To        float64         `json:"to,omitempty"`
}

func word(words []string, i uint8) string {
	if int(i) < len(words) {
		return words[i]
	}
	return fmt.Sprintf("unknown_%d", i)
}

func wordIndex(what string, words []string, text string) (int, error) {
	for i, w := range words {
		if w == text {
			return i, nil
		}
	}
	return 0, fmt.Errorf("%q is not a %s", text, what)
}
