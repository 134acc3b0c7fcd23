package page

import (
	"context"
	"io"
	"time"

	"pumpside/drivers"
	"pumpside/drivers/quantity"
	"pumpside/rules"
	"pumpside/rules/alarm"
	"pumpside/rules/report"
	"pumpside/rules/site"
	"pumpside/rules/trend"
)

// A Source is what the page shows and whom it asks. Any goroutine may call its
// methods at any time.
type Source interface {
	// View gives everything that is in memory, at one moment.
	View() View
	// Buses gives how buses and devices do, with the words last read.
	Buses() []Bus
	// Names gives what the words of an event need besides the event.
	Names(pump string, e *alarm.Event) alarm.Site
	// Journal gives entries, newest first.
	Journal(ctx context.Context, q JournalQuery) ([]Entry, error)
	// Trend gives the history of one signal in so many points at most.
	Trend(ctx context.Context, q TrendQuery) ([]trend.Point, error)
	// Report gives what the last span of time was like.
	Report(ctx context.Context, span time.Duration) (*report.Report, error)
	// Plan gives the visits to come.
	Plan() Plan
	// Sheet writes the sheet of the next visit, an HTML page to print that
	// fetches nothing and has its styles in itself.
	Sheet(w io.Writer) error
	// Watch says that somebody looks at a pump: for the next seconds its
	// snapshots come as soon as something was read.
	Watch(pump string)
	// Do gives a command to a pump's rules, or to the site's with "", and
	// returns the event that came of it.
	Do(ctx context.Context, pump string, c drivers.Command) (*alarm.Event, error)
}

// A View is everything a screen shows, taken at one moment. Nobody changes it.
type View struct {
	At    drivers.Instant
	Site  Site
	Pumps []Pump // in the order of the configuration
	Own   *site.Snapshot
	Agent Agent
}

// Site is where the gateway stands.
type Site struct {
	ID, Title, Location string
	Hazards             []string
	Zone                *time.Location    // of the times people read
	Units               alarm.Units       // of those who did not choose
	Groups              map[string]string // titles of the groups
	Currency            string            // of costs
}

// A Pump is one pump: its plate and how it stands.
type Pump struct {
	*Plate
	*rules.Snapshot
}

// A Plate is what the configuration fixes of a pump.
type Plate struct {
	ID, Tag, Location string
	Hazards           []string
	Cylinders         int
	Cylinder1         string            // where cylinder 1 is, in the installer's words
	NamesCylinders    bool              // an index tells the cylinders apart
	Titles            map[string]string // of site-named signals and service tasks, by name
	Parts             map[string]string // what to bring, by service task
	Bands             map[string]Band   // by signal name
	Gaps              []Gap
	Sights            []Sight
}

// title gives what people call a signal, a task or an alarm's subject.
func (p *Plate) title(name string) string {
	if t := p.Titles[name]; t != "" {
		return t
	}
	return spaced(name)
}

// A Band is the limits of a signal and the ends of its scale, in base units;
// nil where there is none.
type Band struct {
	LowLow, Low, High, HighHigh *float64
	ScaleLow, ScaleHigh         *float64
}

// A Gap is something the installed signals cannot see.
type Gap struct {
	Wanted string `json:"wanted"` // the signals of which one would do, or the setting
	Cost   string `json:"cost"`   // what is lost without it
}

// A Sight is a failure, and whether the installed signals can see it.
type Sight struct {
	Failure string `json:"failure"`
	Words   string `json:"seen"` // from what size, or "not seen"
	Seen    bool   `json:"-"`
	Advice  string `json:"advice,omitempty"` // the cheapest signal or setting that would help
}

// Agent is what concerns the agent itself.
type Agent struct {
	Version    string
	ConfigHash string
	Started    time.Time
	Broker     bool // events are published
	Connected  bool
	Outbox     int   // events waiting
	StoreErr   error // why the last write failed; nil when it did not
	StateBytes int64
}

// A JournalQuery chooses journal entries. Empty fields choose all.
type JournalQuery struct {
	Pump  string // a pump's id
	Own   bool   // the site's own entries only
	Alarm string
	Since time.Time
	Limit int
}

// An Entry is one entry of the journal. Pump is "" for the site's own.
type Entry struct {
	Pump  string       `json:"pump"`
	Event *alarm.Event `json:"event"`
}

// A TrendQuery asks for the history of one signal.
type TrendQuery struct {
	Pump, Signal string
	From, To     time.Time
	Points       int
}

// A Bus is one line with its devices, as the installer wants to see it.
type Bus struct {
	Bus     string        `json:"bus"`
	Address string        `json:"address"`
	Load    float64       `json:"load_ratio"`
	Missed  int           `json:"missed_beats"`
	Late    time.Duration `json:"-"` // the worst lateness of a routine poll lately
	Devices []Device      `json:"devices"`
}

// A Device is one unit on a bus.
type Device struct {
	Device   string    `json:"device"`
	Unit     int       `json:"unit"`
	Known    bool      `json:"known"` // it was asked at least once
	Up       bool      `json:"up"`
	Requests uint64    `json:"requests"`
	Mean     float64   `json:"mean_seconds"` // of a request
	Failures []Failure `json:"failures"`     // kinds that happened
	Points   []Point   `json:"points"`

	// How often it is read; FastFor is 0 where there are no fast windows.
	Routine, Slow, FastFor, FastEvery time.Duration `json:"-"`
}

// A Failure counts failed requests of one kind.
type Failure struct {
	Reason string `json:"reason"`
	Count  uint64 `json:"count"`
}

// A Point is one register row as last read.
type Point struct {
	Point     string             `json:"point"`
	Table     string             `json:"table"`
	Address   int                `json:"address"`
	Type      string             `json:"type"`
	Order     string             `json:"word_order,omitempty"`
	Class     string             `json:"read"`
	Words     []uint16           `json:"words"`
	Value     *float64           `json:"value"` // in the base unit; nil: no number
	Dimension quantity.Dimension `json:"-"`
	Name      string             `json:"-"` // the role it plays, for its unit
	Quality   drivers.Quality    `json:"quality"`
	Reason    drivers.Reason     `json:"reason,omitempty"`
	At        time.Time          `json:"at"`
}

// TitleOf gives what people call a signal or a task.
func (p *Plate) TitleOf(name string) string { return sentence(p.title(name)) }
