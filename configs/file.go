package configs

import (
	"time"

	"pumpside/drivers/quantity"
)

// A file is the configuration as written. Every field's tags are described
// in decode.go; Load turns it into what the rooms take.
type file struct {
	Site    siteFile     `yaml:"site" need:"say which site this is: site: {id: ridge-7, title: Ridge Station 7}" doc:"The site the gateway stands on."`
	Buses   []busFile    `yaml:"buses" need:"list at least one bus" doc:"The lines to devices: Modbus TCP, RTU, or RTU frames over TCP."`
	Devices []deviceFile `yaml:"devices" need:"list at least one device" doc:"The Modbus devices and the points read from them."`
	Pumps   []pumpFile   `yaml:"pumps" need:"list at least one pump" doc:"The pumps and which point plays which role."`
	MQTT    *mqttFile    `yaml:"mqtt" doc:"Where alerts go. Left out: nothing is published."`
	Metrics metricsFile  `yaml:"metrics" doc:"Where Prometheus scrapes."`
	Store   storeFile    `yaml:"store" doc:"What is kept, where and how often."`
	Log     logFile      `yaml:"log" doc:"What the agent writes about itself to stderr."`
}

type siteFile struct {
	ID       string   `yaml:"id" need:"a short name for topics and labels, such as ridge-7" doc:"Short name in topics and labels: letters, digits, - and _."`
	Title    string   `yaml:"title" doc:"The name people use. Left out: the id."`
	Location string   `yaml:"location" doc:"How to get there, as an alert should say it."`
	Hazards  []string `yaml:"hazards" doc:"What a person called out must know before going there."`
	TimeZone string   `yaml:"time_zone" default:"UTC" doc:"IANA name of the zone people's times are shown in."`
	Units    string   `yaml:"units" default:"metric" words:"metric us_field" doc:"The units people read in alerts."`
	Clock    string   `yaml:"clock" default:"kernel" words:"kernel trusted" doc:"kernel: the wall clock counts as right while the kernel says it is disciplined. trusted: it always does (a gateway with its own radio clock)."`
}

type busFile struct {
	ID         string        `yaml:"id" need:"a short name for this bus" doc:"Short name in labels."`
	TCP        string        `yaml:"tcp" doc:"host:port of a Modbus TCP device or gateway."`
	RTU        *rtuFile      `yaml:"rtu" doc:"A serial line of this machine."`
	RTUOverTCP string        `yaml:"rtu_over_tcp" doc:"host:port of a serial server that passes RTU frames through."`
	Baud       int           `yaml:"baud" default:"19200" doc:"Speed of the serial line behind rtu_over_tcp; it decides the load."`
	Timeout    time.Duration `yaml:"timeout" default:"500 ms" doc:"How long a whole transaction may take."`
	LateLimit  time.Duration `yaml:"late_limit" default:"1 s" doc:"How late an answer may still come. On RTU an answer later than this cannot be told from a right one."`
}

type rtuFile struct {
	Path     string `yaml:"path" need:"the port, such as /dev/serial/by-id/…" doc:"Device path; by-id names survive re-plugging."`
	Baud     int    `yaml:"baud" default:"19200" doc:"Bits a second."`
	Parity   string `yaml:"parity" default:"even" words:"none even odd" doc:"Parity."`
	DataBits int    `yaml:"data_bits" default:"8" doc:"Data bits: 8 for RTU."`
	StopBits int    `yaml:"stop_bits" default:"1" doc:"Stop bits: 1 with parity, 2 without."`
	RS485    bool   `yaml:"rs485" default:"false" doc:"Let the kernel switch the line's direction; most adapters do it themselves."`
}

type deviceFile struct {
	ID         string      `yaml:"id" need:"a short name for this device" doc:"Short name in labels; points are written device.point."`
	Bus        string      `yaml:"bus" need:"the id of the bus it hangs on" doc:"The id of its bus."`
	Unit       int         `yaml:"unit" default:"1" doc:"Unit (slave) number: 1 to 247 on RTU, 0 to 255 on TCP."`
	Read       readFile    `yaml:"read" doc:"How often each read class is polled."`
	Unreadable []rangeFile `yaml:"unreadable" doc:"Registers that must never be touched, not even to bridge a gap."`
	Points     []pointFile `yaml:"points" need:"list the points to read" doc:"The values to read."`
}

type readFile struct {
	Routine   time.Duration `yaml:"routine" default:"1 s" doc:"Beat of routine points."`
	Slow      time.Duration `yaml:"slow" default:"30 s" doc:"Beat of slow points."`
	FastFor   time.Duration `yaml:"fast_for" default:"20 s" doc:"Length of a fast window."`
	FastEvery time.Duration `yaml:"fast_every" default:"5 min" doc:"Beat of fast windows, once the pump has run steadily for 30 s."`
}

type rangeFile struct {
	Table string `yaml:"table" need:"one of coil, discrete, input, holding" words:"coil discrete input holding" doc:"Table."`
	First int    `yaml:"first" need:"the first zero-based address" doc:"First zero-based address."`
	Last  int    `yaml:"last" need:"the last zero-based address" doc:"Last zero-based address, included."`
}

type pointFile struct {
	Name         string        `yaml:"name" need:"a short name for this point" doc:"Short name within the device."`
	Table        string        `yaml:"table" words:"coil discrete input holding" doc:"Table the value stands in; follows from doc when that is given."`
	Address      *int          `yaml:"address" doc:"Zero-based address as it goes over the wire."`
	Doc          *int          `yaml:"doc" doc:"Address as the manual prints it, such as 40108; give address or doc."`
	Type         string        `yaml:"type" need:"say how the registers are to be read, such as uint16 or float32" doc:"bool, bit N, int16, uint16, int32, uint32, int64, uint64, float32, float64, bcd16, bcd32, status_402, status_profidrive, run_bit."`
	Order        string        `yaml:"order" doc:"Word order of values over more than one register: ABCD, CDAB, BADC or DCBA. No default: the protocol does not say."`
	Scale        *float64      `yaml:"scale" doc:"The number in unit is raw × scale + offset. Left out: 1."`
	Offset       float64       `yaml:"offset" doc:"See scale."`
	Unit         string        `yaml:"unit" doc:"Unit of raw × scale + offset."`
	Range        []string      `yaml:"range" doc:"Lowest and highest believable value, with units; outside is bad."`
	NotAvailable []int         `yaml:"not_available" doc:"Raw patterns that mean \"no value\"."`
	Loop         []string      `yaml:"loop" doc:"For a 4–20 mA input: the values at 4 mA and at 20 mA, with units; raw × scale + offset must then give mA."`
	Read         string        `yaml:"read" default:"routine" words:"routine slow fast" doc:"Read class."`
	Damping      time.Duration `yaml:"damping" doc:"Damping (time constant) set in the transmitter."`
	UpdatePeriod time.Duration `yaml:"update_period" doc:"How often the device renews the value; a sample polled twice counts once."`
	Resolution   string        `yaml:"resolution" doc:"Smallest step of the value, with its unit."`
	Snubber      string        `yaml:"snubber" words:"none snubber needle_valve unknown" doc:"What stands between the pipe and a pressure transmitter."`
	SharedWith   []string      `yaml:"shared_with" doc:"Other pumps whose pulsation reaches this transmitter."`
}

type pumpFile struct {
	ID         string                        `yaml:"id" need:"a short name for this pump" doc:"Short name in topics and labels."`
	Tag        string                        `yaml:"tag" doc:"Tag as painted on the pump. Left out: the id."`
	Location   string                        `yaml:"location" doc:"Where on the site."`
	Hazards    []string                      `yaml:"hazards" doc:"Hazards of this pump beside the site's."`
	Mechanism  mechanismFile                 `yaml:"mechanism" need:"say how the plungers are moved: {crank: {rod_ratio: 5, discharge: away}} or {sine: true}; there is no safe default" doc:"What moves the plungers."`
	Cylinders  int                           `yaml:"cylinders" default:"3" doc:"Number of cylinders (heads)."`
	Bore       quantity.Meters               `yaml:"bore" need:"plunger diameter, such as 40 mm" doc:"Plunger diameter."`
	Stroke     quantity.Meters               `yaml:"stroke" need:"plunger stroke, such as 30 mm" doc:"Plunger stroke."`
	DeadVolume deadVolumeFile                `yaml:"dead_volume" doc:"Volume per cylinder that is compressed but not displaced."`
	Ratio      float64                       `yaml:"ratio" need:"motor revolutions for one pump revolution, 1 when coupled directly" doc:"Motor revolutions for one pump revolution (gear or belt)."`
	Drive      string                        `yaml:"transmission" default:"gear" words:"direct gear belt" doc:"What is between motor and pump. Gears do not slip, belts do."`
	Motor      motorFile                     `yaml:"motor" doc:"From the motor's rating plate."`
	RatedSpeed quantity.RevolutionsPerMinute `yaml:"rated_speed" need:"highest speed of the pump shaft, such as 400 rpm" doc:"Highest continuous speed of the pump shaft, by its maker."`
	RatedPress quantity.Pascals              `yaml:"rated_pressure" need:"highest discharge pressure, such as 10 MPa" doc:"Highest continuous discharge pressure, by its maker."`
	Cylinder1  string                        `yaml:"cylinder_1" doc:"Which cylinder is number one, in words, such as: nearest the coupling."`
	Pulses     int                           `yaml:"pulses_per_revolution" default:"1" doc:"Index pulses in one pump revolution."`
	Opening    openingFile                   `yaml:"opening" doc:"For a pump that is not new: its totals when the agent first saw it."`
	Signals    map[string]string             `yaml:"signals" need:"map roles to points, such as {motor_speed: drive-1.speed}" doc:"Role: device.point."`
	Auxiliary  []auxiliaryFile               `yaml:"auxiliary" doc:"The site's own signals, with limits."`
	Counting   countingFile                  `yaml:"counting" doc:"What counts as running."`
	Limits     map[string]limitFile          `yaml:"limits" doc:"Role: limits."`
	Alarms     map[string]alarmFile          `yaml:"alarms" doc:"Changes to standing alarms, by name."`
	Services   []serviceFile                 `yaml:"services" doc:"Service tasks and their intervals."`
}

type mechanismFile struct {
	Crank *crankFile `yaml:"crank" doc:"Slider-crank."`
	Sine  bool       `yaml:"sine" doc:"Wobble or swash plate: pure sine."`
}

type crankFile struct {
	RodRatio  float64 `yaml:"rod_ratio" need:"connecting rod length divided by crank radius, such as 5" doc:"Rod length divided by crank radius."`
	Discharge string  `yaml:"discharge" need:"away or towards: which way the plunger goes when it discharges, seen from the crank" words:"away towards" doc:"Direction of the discharge stroke seen from the crank."`
}

type deadVolumeFile struct {
	Oil    quantity.CubicMeters `yaml:"oil" doc:"Drive oil, per cylinder."`
	Liquid quantity.CubicMeters `yaml:"liquid" doc:"Glycol, per cylinder."`
}

type motorFile struct {
	Poles        int                           `yaml:"poles" default:"4" doc:"Number of poles."`
	RatedSpeed   quantity.RevolutionsPerMinute `yaml:"rated_speed" doc:"Rated speed."`
	RatedPower   quantity.Watts                `yaml:"rated_power" doc:"Rated power."`
	RatedCurrent quantity.Amperes              `yaml:"rated_current" doc:"Rated current."`
}

type openingFile struct {
	RunHours time.Duration `yaml:"run_hours" doc:"Run time, such as 12400 h."`
	Strokes  float64       `yaml:"strokes_per_plunger" doc:"Strokes per plunger, which is pump revolutions."`
	Bare     *float64      `yaml:"strokes" doc:"Refused: say strokes_per_plunger."`
}

type auxiliaryFile struct {
	Name   string    `yaml:"name" need:"a short name" doc:"Short name."`
	Title  string    `yaml:"title" doc:"What people call it."`
	Point  string    `yaml:"point" need:"device.point" doc:"The point that measures it."`
	Limits limitFile `yaml:"limits" doc:"Limits."`
}

type countingFile struct {
	RunningSpeed quantity.RevolutionsPerMinute `yaml:"running_speed" default:"30 rpm" doc:"Motor speed above which the drive is believed to turn the pump."`
	MaxGap       time.Duration                 `yaml:"max_gap" default:"5 s" doc:"Run time adds between two good readings no further apart than this."`
	Witness      witnessFile                   `yaml:"witness" doc:"The second witness of running: above which value the signal speaks for running."`
	HourMeter    hourMeterFile                 `yaml:"hour_meter" doc:"The drive's own hour meter."`
	Efficiency   quantity.Ratio                `yaml:"volumetric_efficiency" default:"90 %" doc:"Used for pumped volume only when nothing measures flow (common practice for a small pump at 70 bar)."`
}

type witnessFile struct {
	Power  quantity.Watts                `yaml:"power" doc:"Motor power."`
	Ripple quantity.Pascals              `yaml:"ripple" doc:"Swing of the discharge pressure."`
	Flow   quantity.CubicMetersPerSecond `yaml:"flow" doc:"Glycol flow."`
}

type hourMeterFile struct {
	Counts     string        `yaml:"counts" default:"learn" words:"run power_on learn" doc:"What the meter counts; learn watches whether it ticks while the pump stands."`
	Resolution time.Duration `yaml:"resolution" default:"1 h" doc:"Its smallest step."`
	Rollover   time.Duration `yaml:"rollover" doc:"The reading at which it starts again from zero, such as 65536 h."`
}

type limitFile struct {
	LowLow   string          `yaml:"low_low" doc:"Lower limit of the worse kind."`
	Low      string          `yaml:"low" doc:"Lower limit."`
	High     string          `yaml:"high" doc:"Upper limit."`
	HighHigh string          `yaml:"high_high" doc:"Upper limit of the worse kind."`
	Rate     string          `yaml:"rate" doc:"Largest change within rate_over."`
	RateOver time.Duration   `yaml:"rate_over" default:"10 min" doc:"See rate."`
	Deadband *quantity.Ratio `yaml:"deadband" doc:"How far it must return, part of the limit's range; left out: by kind of signal."`
	Delay    *time.Duration  `yaml:"delay" doc:"How long it must hold before the alarm is raised and before it clears; left out: by kind of signal."`
}

type alarmFile struct {
	Off       bool           `yaml:"off" doc:"Do not evaluate this alarm at all."`
	Priority  string         `yaml:"priority" words:"low medium high" doc:"Priority."`
	OnDelay   *time.Duration `yaml:"on_delay" doc:"How long the condition must hold."`
	OffDelay  *time.Duration `yaml:"off_delay" doc:"How long it must be gone."`
	Responder string         `yaml:"responder" words:"control_room mechanic automation journal" doc:"Who acts."`
	Notify    string         `yaml:"notify" words:"now next_working_day never" doc:"When they are told."`
	Limit     string         `yaml:"limit" doc:"The alarm's own limit, with its unit, where it has one."`
}

type serviceFile struct {
	Task     string         `yaml:"task" need:"a short name, such as oil, valves, diaphragms, shaft_seal" doc:"Short name."`
	Title    string         `yaml:"title" doc:"What people call it."`
	RunHours time.Duration  `yaml:"run_hours" doc:"Interval in run time of the pump."`
	FirstRun time.Duration  `yaml:"first_run_hours" doc:"First interval of a new pump, such as 500 h for the run-in change of oil (common practice)."`
	Strokes  float64        `yaml:"strokes_per_plunger" doc:"Interval in strokes per plunger, which is pump revolutions."`
	Bare     *float64       `yaml:"strokes" doc:"Refused: say strokes_per_plunger."`
	Calendar time.Duration  `yaml:"calendar" doc:"Interval on the wall calendar, such as 365 d."`
	DueSoon  quantity.Ratio `yaml:"due_soon" default:"90 %" doc:"Share of life used at which it is due soon."`
	Overdue  quantity.Ratio `yaml:"overdue" default:"110 %" doc:"Share at which it is overdue."`
	Parts    string         `yaml:"parts" doc:"What to bring, in your words: kit, part numbers, oil grade and litres."`
}

type mqttFile struct {
	Broker      string        `yaml:"broker" need:"such as mqtt://broker.example:1883 or mqtts://broker.example:8883" doc:"mqtt://host:port, or mqtts://host:port for TLS."`
	ClientID    string        `yaml:"client_id" doc:"Left out: pumpside- and the site's id."`
	User        string        `yaml:"user" doc:"User name."`
	Password    string        `yaml:"password_file" doc:"File with the password on its first line, readable by the agent only."`
	CA          string        `yaml:"ca_file" doc:"PEM file of the authorities to trust; left out: the system's."`
	Certificate string        `yaml:"certificate_file" doc:"PEM file of the client certificate."`
	Key         string        `yaml:"key_file" doc:"PEM file of its key."`
	KeepAlive   time.Duration `yaml:"keep_alive" default:"20 s" doc:"Keep-alive."`
	Telemetry   time.Duration `yaml:"telemetry" default:"10 s" doc:"Beat of the telemetry topic."`
	Commands    bool          `yaml:"commands" default:"false" doc:"Whether people may acknowledge, shelve and record over MQTT. Nothing can be written to a device either way."`
	OutboxLimit int           `yaml:"outbox_limit" default:"50000" doc:"Events kept while the broker cannot be reached; beyond it the oldest of the lowest class go first, counted and said aloud."`
}

type metricsFile struct {
	Listen string `yaml:"listen" default:"127.0.0.1:9793" doc:"host:port for /metrics, /healthz and /readyz; off: no listener."`
}

type storeFile struct {
	Path         string        `yaml:"path" default:"/var/lib/pumpside/pumpside.db" doc:"The state file."`
	SaveInterval time.Duration `yaml:"save_interval" default:"60 s" doc:"How often counters are made durable; a power cut loses no more than this. 60 s is kind to flash."`
	JournalFor   time.Duration `yaml:"journal_for" default:"730 d" doc:"How long journal entries are kept."`
}

type logFile struct {
	Level  string `yaml:"level" default:"info" words:"debug info warn error" doc:"How much."`
	Format string `yaml:"format" default:"json" words:"json console" doc:"console is for people."`
}
