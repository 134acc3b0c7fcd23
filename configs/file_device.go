package configs

import (
	"time"

	"pumpside/drivers/quantity"
)

type busFile struct {
	ID         string          `yaml:"id" need:"a short name for this bus" doc:"Short name in labels."`
	TCP        string          `yaml:"tcp" doc:"host:port of a Modbus TCP device or gateway."`
	RTU        *rtuFile        `yaml:"rtu" doc:"A serial line of this machine."`
	RTUOverTCP *rtuOverTCPFile `yaml:"rtu_over_tcp" doc:"A serial server that passes RTU frames through."`
	Timeout    time.Duration   `yaml:"timeout" default:"500 ms" doc:"How long a whole transaction may take."`
	LateLimit  time.Duration   `yaml:"late_limit" default:"1 s" doc:"How late an answer may still come. On RTU an answer later than this cannot be told from a right one."`
}

type rtuFile struct {
	Path     string `yaml:"path" need:"the port, such as /dev/serial/by-id/…" doc:"Device path; by-id names survive re-plugging."`
	Baud     int    `yaml:"baud" need:"bits a second, such as 19200; as set in the devices" doc:"Bits a second."`
	Parity   string `yaml:"parity" need:"none, even or odd; there is no default, for a wrong one is silence" words:"none even odd" doc:"Parity."`
	StopBits int    `yaml:"stop_bits" need:"1 or 2; the standard has 1 with parity and 2 without" words:"1 2" doc:"Stop bits; the standard has 1 with parity and 2 without."`
	RS485    bool   `yaml:"rs485" default:"false" doc:"Let the kernel switch the line's direction; most adapters do it themselves and refuse this."`

	_ struct{} `yaml:"data_bits" refuse:"data bits"`
}

type rtuOverTCPFile struct {
	Address  string `yaml:"address" need:"host:port of the serial server" doc:"host:port of the serial server."`
	Baud     int    `yaml:"baud" need:"bits a second of the line behind the serial server; they decide how much can be read" doc:"Bits a second of the line behind it; they decide the load."`
	Parity   string `yaml:"parity" need:"none, even or odd, as set in the serial server" words:"none even odd" doc:"Parity of that line."`
	StopBits int    `yaml:"stop_bits" need:"1 or 2, as set in the serial server" words:"1 2" doc:"Stop bits of that line."`
}

type deviceFile struct {
	ID         string      `yaml:"id" need:"a short name for this device" doc:"Short name in labels; points are written device.point."`
	Bus        string      `yaml:"bus" need:"the id of the bus it hangs on" doc:"The id of its bus."`
	Profile    string      `yaml:"profile" doc:"What kind of device it is: drive_402, drive_profidrive, current_input, pulse_counter or float_transmitter. A point takes from it what it leaves out; the address is always the site's."`
	Unit       int         `yaml:"unit" default:"1" doc:"Unit (slave) number: 1 to 247 on RTU, 0 to 255 on TCP."`
	DocBase    int         `yaml:"doc_base" default:"1" words:"0 1" doc:"The manual's first register: 1 where 40001 is address 0 (usual), 0 where 40000 is."`
	Read       readFile    `yaml:"read" doc:"How often each read class is polled."`
	Unreadable []rangeFile `yaml:"unreadable" doc:"Registers that must never be touched, not even to bridge a gap."`
	Points     []pointFile `yaml:"points" need:"list the points to read" doc:"The values to read."`
}

type readFile struct {
	Routine   time.Duration `yaml:"routine" default:"1 s" doc:"Beat of routine points."`
	Slow      time.Duration `yaml:"slow" default:"30 s" doc:"Beat of slow points."`
	FastFor   time.Duration `yaml:"fast_for" default:"20 s" doc:"Length of a fast window; 0 s: none."`
	FastEvery time.Duration `yaml:"fast_every" default:"5 min" doc:"Beat of fast windows, once the pump has run steadily for 30 s; a start or a change of speed takes one ahead."`
}

type rangeFile struct {
	Table string `yaml:"table" need:"one of coil, discrete, input, holding" words:"coil discrete input holding" doc:"Table."`
	First int    `yaml:"first" need:"the first zero-based address" doc:"First zero-based address."`
	Last  int    `yaml:"last" need:"the last zero-based address" doc:"Last zero-based address, included."`
}

type pointFile struct {
	Name         string           `yaml:"name" need:"a short name for this point" doc:"Short name within the device."`
	Table        string           `yaml:"table" words:"coil discrete input holding" doc:"Table the value stands in; follows from doc when that is given."`
	Address      string           `yaml:"address" doc:"Zero-based address as it goes over the wire."`
	Doc          string           `yaml:"doc" doc:"Address as the manual prints it, such as 40108; give address or doc."`
	Type         string           `yaml:"type" doc:"How the registers are to be read; needed unless the device's profile says it: bool, bit N, int16, uint16, int32, uint32, int64, uint64, float32, float64, bcd16, bcd32, status_402, status_profidrive, run_bit N, run_bit N fault M."`
	Order        string           `yaml:"word_order" doc:"Word order of values over more than one register: ABCD, CDAB, BADC or DCBA. No default: the protocol does not say."`
	Scale        float64          `yaml:"scale" default:"1" doc:"The number in unit is raw × scale + offset. -1 with offset 1 turns a switch round."`
	Offset       float64          `yaml:"offset" default:"0" doc:"See scale."`
	Unit         string           `yaml:"unit" doc:"Unit of raw × scale + offset."`
	Range        []string         `yaml:"range" doc:"Lowest and highest believable value, with units; outside is bad."`
	NotAvailable []string         `yaml:"not_available" doc:"Raw patterns that mean \"no value\": 0x8000, or the decimal number before scaling."`
	Loop         []string         `yaml:"loop" doc:"For a 4–20 mA input: the values at 4 mA and at 20 mA, with units; raw × scale + offset must then give mA."`
	Read         string           `yaml:"read" default:"routine" words:"routine slow fast" doc:"Read class."`
	FrozenAfter  *time.Duration   `yaml:"frozen_after" doc:"The same bits for longer, while another signal of the device moves, are bad; 0 s: never. Left out: 10 min or 1 h, by kind of signal."`
	UpdatePeriod time.Duration    `yaml:"update_period" doc:"How often the device renews the value; a sample polled twice counts once."`
	Damping      *time.Duration   `yaml:"damping" doc:"Damping (time constant) set in the pressure transmitter. Left out: not known."`
	Snubber      time.Duration    `yaml:"snubber" doc:"Time constant of a snubber or throttled valve before a pressure transmitter."`
	Resolution   quantity.Pascals `yaml:"resolution" doc:"One count of a pressure, with its unit."`
	SharedWith   []string         `yaml:"shared_with" doc:"Other pumps whose pulsation reaches this pressure transmitter."`
}
