package configs

import "time"

// A file is the configuration as written. Every field's tags are described in
// shape.go; Load turns it into what the rooms take.
type file struct {
	Site    siteFile     `yaml:"site" need:"say which site this is: site: {id: ridge-7, title: Ridge Station 7}" doc:"The site the gateway stands on."`
	Buses   []busFile    `yaml:"buses" need:"list at least one bus" doc:"The lines to devices: Modbus TCP, RTU, or RTU frames over TCP."`
	Devices []deviceFile `yaml:"devices" need:"list at least one device" doc:"The Modbus devices and the points read from them."`
	Pumps   []pumpFile   `yaml:"pumps" need:"list at least one pump" doc:"The pumps and which point plays which role."`
	Groups  []groupFile  `yaml:"groups" doc:"Pumps that share one circulation: duty and standby."`
	MQTT    *mqttFile    `yaml:"mqtt" doc:"Where alerts go. Left out: nothing is published."`
	Metrics metricsFile  `yaml:"metrics" doc:"Where Prometheus scrapes."`
	Page    pageFile     `yaml:"page" doc:"The page for people, and its API."`
	Store   storeFile    `yaml:"store" doc:"What is kept, where and how often."`
	Record  recordFile   `yaml:"record" doc:"Readings files, to be replayed. Left out: none, which is kind to flash."`
	Log     logFile      `yaml:"log" doc:"What the agent writes about itself to stderr."`
}

type siteFile struct {
	ID       string               `yaml:"id" need:"a short name for topics and labels, such as ridge-7" doc:"Short name in topics and labels: letters, digits, - and _."`
	Title    string               `yaml:"title" doc:"The name people use. Left out: the id."`
	Location string               `yaml:"location" doc:"How to get there, as an alert should say it."`
	Hazards  []string             `yaml:"hazards" doc:"What a person called out must know before going there."`
	TimeZone string               `yaml:"time_zone" default:"UTC" doc:"IANA name of the zone people's times are shown in, and read in where they name none."`
	Units    string               `yaml:"units" default:"metric" words:"metric us_field" doc:"The units people read in alerts."`
	Clock    string               `yaml:"clock" default:"kernel" words:"kernel trusted" doc:"kernel: the wall clock counts as right while the kernel says it is disciplined. trusted: it always does (a gateway with its own radio clock)."`
	Calls    callsFile            `yaml:"calls" doc:"Who is called: on-call rota, quiet hours, escalation. It only routes; nothing is silenced by it."`
	Energy   energyFile           `yaml:"energy" doc:"What energy costs, for the day's report."`
	Alarms   map[string]alarmFile `yaml:"alarms" doc:"Changes to alarms of the site, its buses and devices, by name."`
}

type energyFile struct {
	Price     float64 `yaml:"price_per_kwh" default:"0" doc:"Price of a kilowatt-hour. Left out: not known, and no cost is told."`
	HeatPrice float64 `yaml:"heat_price_per_kwh" default:"0" doc:"Price of a kilowatt-hour of the reboiler's heat. Left out: not known."`
	Currency  string  `yaml:"currency" doc:"Its currency, as people write it."`
}

type mqttFile struct {
	Broker      string        `yaml:"broker" need:"such as tcp://broker.example:1883, or tls://broker.example:8883 for an encrypted connection" doc:"tcp://host:port, or tls://host:port for TLS; the port may be left out."`
	ClientID    string        `yaml:"client_id" doc:"One per agent. Left out: pumpside- and the site's id."`
	User        string        `yaml:"user" doc:"User name."`
	Password    string        `yaml:"password_file" doc:"File with the password on its first line, readable by the agent only."`
	CA          string        `yaml:"ca_file" doc:"PEM file of the authorities to trust. Left out: the system's."`
	Certificate string        `yaml:"certificate_file" doc:"PEM file of the client certificate."`
	Key         string        `yaml:"key_file" doc:"PEM file of its key."`
	ServerName  string        `yaml:"server_name" doc:"The name the broker's certificate must carry. Left out: the host of broker."`
	KeepAlive   time.Duration `yaml:"keep_alive" default:"20 s" doc:"Silence after which the connection is tested."`
	Telemetry   time.Duration `yaml:"telemetry" default:"10 s" doc:"Beat of the telemetry topic; 0 s sends none."`
	Commands    bool          `yaml:"commands" default:"false" doc:"Whether people may acknowledge, shelve and record over MQTT. Nothing can be written to a device either way."`
	OutboxLimit int           `yaml:"outbox_limit" default:"50000" doc:"Events kept while the broker cannot be reached; beyond it the oldest of the lowest class go first, counted and said aloud."`
}

type metricsFile struct {
	Listen string `yaml:"listen" default:"127.0.0.1:9793" doc:"host:port for /metrics, /healthz and /readyz; off: no listener."`
}

type pageFile struct {
	Listen      string `yaml:"listen" default:"127.0.0.1:8793" doc:"host:port of the page; off: no page. On another address than loopback everybody must sign in."`
	Users       string `yaml:"users_file" doc:"Who may change things; written by pumpside user. Left out: the file users beside the state file."`
	Certificate string `yaml:"certificate_file" doc:"PEM file of the server's certificate, for TLS."`
	Key         string `yaml:"key_file" doc:"PEM file of its key."`
}

type storeFile struct {
	Path         string        `yaml:"path" default:"/var/lib/pumpside/pumpside.db" doc:"The state file."`
	SaveInterval time.Duration `yaml:"save_interval" default:"60 s" doc:"How often counters are made durable; a power cut loses no more than this. 60 s is kind to flash."`
	JournalFor   time.Duration `yaml:"journal_for" default:"730 d" doc:"How long journal entries are kept."`
	SecondsFor   time.Duration `yaml:"seconds_for" default:"1 h" doc:"How long a value for every second stays in memory, for people to look back at; 0 s: not at all."`
}

type recordFile struct {
	Folder string `yaml:"folder" doc:"Where readings files go; a relative path is beside the configuration. Left out: nothing is recorded."`
	FileMB int    `yaml:"file_mb" default:"16" doc:"Megabytes after which a pump's next file begins, 1 to 1000."`
	Keep   int    `yaml:"keep" default:"8" doc:"Files kept of each pump, 2 to 1000; the oldest go."`
}

type logFile struct {
	Level  string `yaml:"level" default:"info" words:"debug info warn error" doc:"How much."`
	Format string `yaml:"format" default:"json" words:"json console" doc:"console is for people."`
}
