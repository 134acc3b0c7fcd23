package alarm_test

import (
	"fmt"
	"time"

	"pumpside/drivers"
	"pumpside/rules/alarm"
)

// One alarm on a limit, from settings to the words on a phone.
func ExampleMemory_Step() {
	limit := 60e3
	defs := alarm.SignalAlarms(alarm.SignalSettings{Signal: drivers.SuctionPressure, Span: 400e3, Low: &limit})
	var memory alarm.Memory // stored: json.Marshal it, and Fit it again after a start
	memory.Fit(defs)
	conditions := make([]alarm.Condition, len(defs))
	var events []alarm.Event

	for second := range 20 {
		now := memory.Clock.Tick(drivers.Instant{Boot: "a", SinceBoot: time.Duration(second) * time.Second})
		now.SinceStart = time.Hour
		for i := range defs {
			pressure := alarm.Measured{Value: 41e3, Quality: drivers.Good, Age: 2 * time.Second}
			conditions[i] = defs[i].Rule.Judge(pressure, memory.Alarms[i].Judged)
		}
		events = memory.Step(defs, &now, conditions, events)
	}

	for _, e := range events {
		e.Seq, e.PumpRunning, e.Standby, e.GasFlowing = 1, alarm.Yes, "available", alarm.Yes
		fmt.Println(alarm.Render(e, alarm.Site{Name: "Ridge Site", Pump: "GP-2"}).Headline)
	}
	// Output:
	// [MEDIUM] Ridge Site, GP-2: suction pressure LOW: 41 kPa, limit 60 kPa, 15 s. RUNNING, standby OK, gas on. Act in 1 h.
}
