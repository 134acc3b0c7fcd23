package rules

import (
	"math"
	"time"

	"pumpside/drivers/quantity"
	"pumpside/rules/alarm"
	"pumpside/rules/counters"
)

// recordCounted journals what the counters found out.
func (s *State) recordCounted(e *counters.Event) {
	var evidence []alarm.Evidence
	for _, row := range []struct {
		key  string
		time time.Duration
	}{{"lasted", e.For}, {"credited_run_time", e.Run}, {"at_most_run_time", e.AtMost}} {
		if row.time != 0 {
			evidence = append(evidence, seconds(row.key, row.time))
		}
	}
	if e.From != 0 || e.To != 0 {
		evidence = append(evidence, number("meter_before", e.From), number("meter_after", e.To))
	}
	if e.Reckoned != 0 {
		evidence = append(evidence, number("reckoned_strokes", math.Round(e.Reckoned)))
	}
	subject := e.Meter.String()
	s.record(e.Kind.String(), subject, evidence...)
	s.happened[len(s.happened)-1].At = e.At
}

func seconds(key string, d time.Duration) alarm.Evidence {
	return alarm.Evidence{Key: key, Quantity: alarm.Quantity{Value: d.Seconds(), Dimension: quantity.Duration}}
}

func number(key string, x float64) alarm.Evidence {
	return alarm.Evidence{Key: key, Quantity: alarm.Quantity{Value: x}}
}
