package mqtt

import (
	"pumpside/rules"
	"pumpside/rules/alarm"
	"pumpside/rules/report"
)

// A View is how everything stands at one moment. It names every pump and every
// alarm of the configuration, also the normal ones: the retained topics of
// what it leaves out are cleared at the broker. An alarm that was never raised
// has no topic. A nil pump is one that has no
// snapshot yet; as long as there is one, nothing is cleared.
type View struct {
	Pumps      []*rules.Snapshot
	SiteAlarms []alarm.View
	Report     *report.Report // nil while there is none
}

// A Site is what every message says of where it comes from.
type Site struct {
	Name         string   // in topics and payloads
	Pumps        []string // the names of the pumps, which take commands
	StreamID     string   // of the state file, in which every Seq counts: new after a restore or damage
	AgentVersion string
	ConfigHash   string
}

// Names gives what the words of an event need besides the event: what the
// installer calls the site and the pump ("" for the site itself), and the
// words for the event's subject and drive fault. It is asked with the zero
// event for what holds always.
type Names func(pump string, e *alarm.Event) alarm.Site
