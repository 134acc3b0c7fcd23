package drivers

// A Group is what a pump is told, once a beat, of the pumps it shares a
// circulation with. It is data like a reading, so that a replay tells it
// again. The zero Group tells nothing.
type Group struct {
	Told     bool    `json:"told"`
	Others   int     `json:"others"`   // in the group beside this pump
	Running  int     `json:"running"`  // of them, known to run
	Unseen   int     `json:"unseen"`   // of them, nobody knows whether they run
	Required int     `json:"required"` // pumps that must deliver while glycol is wanted
	Standby  Standby `json:"standby"`

	Carried []Carried `json:"carried,omitempty"` // this pump's alarms that others call for; nobody changes it
}

// A Carried is an alarm of a pump for which another alarm calls.
type Carried struct {
	Alarm    string `json:"alarm"`
	By       string `json:"by"`                 // that alarm: the group's, or PUMP/ALARM
	Answered bool   `json:"answered,omitempty"` // somebody has acknowledged that call
}

// A Standby is how the other pumps of a group stand behind one of them.
type Standby string

// The states of the others, seen from one pump.
const (
	StandbyUnknown      Standby = "unknown"
	StandbyNone         Standby = "none"          // there are no more than are required
	StandbyRunning      Standby = "running"       // of the others as many run as are required
	StandbyAvailable    Standby = "available"     // fewer run, one that stands would start
	StandbyNotAvailable Standby = "not_available" // fewer run and none would start
)

// Alone reports whether no other pump of the group runs, so that what it
// shares with them is this pump's own for now.
func (g Group) Alone() bool { return g.Told && g.Running == 0 && g.Unseen == 0 }

// Covered reports whether the others alone are as many as are needed.
func (g Group) Covered() bool { return g.Told && g.Others > 0 && g.Running >= g.Required }
