package mqtt

import (
	"fmt"
	"testing"

	"pumpside/rules"
	"pumpside/rules/alarm"
)

// A quiet second of a large site: everything is compared, nothing is sent.
func BenchmarkCompareWhatStands(b *testing.B) {
	const pumps, alarms = 500, 30
	var v View
	for i := range pumps {
		s := &rules.Snapshot{Pump: fmt.Sprintf("gp-%03d", i)}
		for a := range alarms {
			s.Alarms = append(s.Alarms, alarm.View{Name: fmt.Sprintf("alarm_%d", a)})
		}
		v.Pumps = append(v.Pumps, s)
	}
	p := publisher(nil)
	p.View = func() View { return v }
	p.topics = TopicsOf("north")
	c := &connection{Publisher: p}
	for window := c.changed(); len(window) > 0; window = c.changed() {
		c.standing.acknowledged(window)
	}
	b.ReportAllocs()
	for b.Loop() {
		if len(c.changed()) != 0 {
			b.Fatal("something changed")
		}
	}
}

// An alert with all its words.
func BenchmarkEventPayload(b *testing.B) {
	p := goldenPublisher()
	b.ReportAllocs()
	for b.Loop() {
		p.eventPayload(lostFlow)
	}
}

// A snapshot of one pump.
func BenchmarkTelemetryPayload(b *testing.B) {
	p, s := goldenPublisher(), goldenSnapshot()
	b.ReportAllocs()
	for b.Loop() {
		p.telemetryPayload(s)
	}
}
