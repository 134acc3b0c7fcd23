package configs

import (
	"time"

	"pumpside/drivers"
	"pumpside/drivers/drive"
	"pumpside/drivers/modbus"
	"pumpside/drivers/regmap"
	"pumpside/exporter/mqtt"
	"pumpside/rules"
	"pumpside/rules/alarm"
	"pumpside/rules/pump"
	"pumpside/rules/site"
)

// A Config is a checked configuration: what the rooms of the program take.
// Nobody changes it after [Load].
type Config struct {
	Hash    string // of the text: the first 12 hexadecimal digits of its SHA-256
	Site    Site
	Buses   []Bus
	Devices []Device
	Pumps   []Pump
	Groups  []Group
	Rules   *site.Settings // checked; its buses, devices and groups in the order of Buses, Devices and Groups
	MQTT    *MQTT          // nil: nothing is published
	Metrics Metrics
	Page    Page
	Store   Store
	Record  Record
	Log     Log

	// Notes are worth a look, in file order, and keep nothing from working.
	Notes Problems

	loads []BusLoad
	names Problems // where files are named, without a text
}

// Site is where the gateway stands.
type Site struct {
	ID           string
	Title        string // the ID when nobody gave one
	Location     string
	Hazards      []string
	TimeZone     *time.Location // of the times people read
	Units        alarm.Units    // of the numbers people read
	ClockTrusted bool           // the wall clock is right whatever the kernel says
	Calls        Calls
	EnergyPrice  float64 // of a kilowatt-hour; 0: not known
	HeatPrice    float64 // of a kilowatt-hour of the reboiler's heat; 0: not known
	Currency     string  // of that price
}

// A Bus is one line to devices.
type Bus struct {
	ID       string
	Settings modbus.Settings // checked
}

// A Device is one unit on a bus.
type Device struct {
	ID        string
	Bus       int // place in Config.Buses
	Unit      byte
	Map       regmap.Map    // without Problems
	Routine   time.Duration // beat of routine points; fast points are read on it too
	Slow      time.Duration // beat of slow points
	FastFor   time.Duration // length of a fast window; 0: there are none
	FastEvery time.Duration // beat of fast windows
}

// A Pump is one pump with everything its rules need.
type Pump struct {
	ID          string
	Tag         string // the ID when nobody gave one
	Location    string
	Hazards     []string
	Geometry    pump.Geometry // without Problems
	Rules       *rules.Settings
	Feeds       []Feed
	Titles      map[string]string // what people call site-named signals and service tasks, by name
	Parts       map[string]string // what to bring, by service task, in the site's words
	DriveFaults DriveFaults
	Kits        []pump.Kit
	Visit       Visit
}

// A Visit is what a visit sheet says besides parts and steps.
type Visit struct {
	Tools    []string
	OilGrade string
	Manual   string // the maker's, with its edition; it governs
	Figures  []Figure
}

// A Figure is a torque, clearance or charge pressure from the maker's manual.
type Figure struct{ What, Value, Page string }

// A Group is what people call pumps that share one circulation. What is judged
// of them stands in Rules, in the same order.
type Group struct {
	ID    string
	Title string // the ID when nobody gave one
}

// A Feed says which point of which device plays a role for a pump. A point may
// feed several pumps.
type Feed struct {
	Device int // place in Config.Devices
	Point  int // place in the device's Map.Points
	Signal drivers.Signal
}

// DriveFaults puts the codes of a drive into words.
type DriveFaults struct {
	Standard bool           // the codes are those of IEC 61800-7-201
	Words    map[int]string // the maker's own
}

// Text gives the words for a fault code, "" when there are none.
func (d DriveFaults) Text(code int) string {
	if words, ok := d.Words[code]; ok {
		return words
	}
	if d.Standard && code >= 0 && code <= 0xFFFF {
		return drive.Fault(uint16(code))
	}
	return ""
}

// MQTT is where alerts go.
type MQTT struct {
	mqtt.Settings // with PasswordFile, never with Password

	OutboxLimit int // most events kept while the broker cannot be reached
}

// Metrics is where Prometheus scrapes.
type Metrics struct {
	Listen string // host:port; "" for no listener
}

// Page is where people look.
type Page struct {
	Listen          string // host:port; "" for no page
	Loopback        bool   // only this machine can reach it: reading needs no name
	UsersFile       string
	CertificateFile string // "" for no TLS
	KeyFile         string
}

// Store is what is kept, where and how often.
type Store struct {
	Path         string
	SaveInterval time.Duration
	JournalFor   time.Duration
}

// Record is where readings files go.
type Record struct {
	Folder string // "" for none
	Most   int64  // bytes of one file
	Keep   int    // files of each pump
}

// Log is what the agent writes about itself.
type Log struct {
	Level   string // debug, info, warn or error
	Console bool   // text for people instead of JSON
}
