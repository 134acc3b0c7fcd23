package mqtt

import (
	"slices"
	"time"

	"pumpside/rules"
)

// A View is how everything stands at one moment. It names every pump and every
// alarm of the configuration, also the normal ones: the retained topics of
// what it leaves out are cleared at the broker.
type View struct {
	StreamID   string // of the state file; the stream of every Seq in the view
	Pumps      []*rules.Snapshot
	SiteAlarms []rules.AlarmView
}

// A Site is what every message says of where it comes from.
type Site struct {
	Name         string
	Location     string   // in words, such as "km 12, north road"
	Hazards      []string // what a visitor must know before arriving
	AgentVersion string
	ConfigHash   string
	Pumps        []Pump
}

// A Pump is what the configuration says of a pump.
type Pump struct {
	Name     string // as in the topics
	Tag      string // as on the plate
	Group    string // "" for none
	Location string // on the site, in words
}

// pump gives the facts of a pump; the zero Pump for the site itself.
func (s Site) pump(name string) Pump {
	for _, p := range s.Pumps {
		if p.Name == name {
			return p
		}
	}
	return Pump{Name: name}
}

// has reports whether the configuration has that pump.
func (s Site) has(pump string) bool {
	return slices.ContainsFunc(s.Pumps, func(p Pump) bool { return p.Name == pump })
}

// Texts gives the words of an entry: the alarm catalogue with the names and
// units of this site. It must not fail; an alarm without words gets a headline
// of its name.
type Texts func(Entry) Text

// A Text is everything a person reads of an event.
type Text struct {
	Headline         string
	Evidence         []string // numbers with units
	Consequence      string
	Actions          []string // in order, hands-off ones first
	Safety           string   // stands before the first action that touches equipment
	TimeToRespond    time.Duration
	Parts            []string // what to bring, with quantities
	NotKnown         string
	DriveFault       string // in words; "" for none
	SinceLastService string // what, how many run hours ago, by whom
}
