package simulator

import "math"

// A Device is one of the two Modbus devices of a skid.
type Device uint8

// The devices of a skid. They share no address, so one unit id can serve both.
const (
	Drive       Device = iota // frequency converter: holding registers and coils
	Instruments               // analog and digital module: input registers and discrete inputs
	deviceCount
)

// String is "drive" or "instruments".
func (d Device) String() string { return [...]string{"drive", "instruments"}[d] }

// A Table is one of the four address spaces of Modbus.
type Table uint8

// The tables, named as in the Modbus application protocol V1.1b3, §4.3.
const (
	Coil     Table = iota // function 1
	Discrete              // function 2
	Holding               // function 3
	Input                 // function 4
)

// String is "coil", "discrete", "holding" or "input".
func (t Table) String() string { return [...]string{"coil", "discrete", "holding", "input"}[t] }

// A Register describes one value on the wire, in the words a configuration
// uses: value = raw·Scale + Offset in Unit.
type Register struct {
	Signal    string // "discharge_pressure"; see signal.go for all
	Device    Device
	Table     Table
	Address   uint16 // zero-based
	Type      string // "bool", "uint16", "int16", "uint32" or "float32"
	WordOrder string // "ABCD" or "CDAB" for two registers, else ""
	Scale     float64
	Offset    float64
	Unit      string  // "" for states and counts
	Low, High float64 // what the value can be, in Unit; with Loop the ends of the span, in the unit Note states
	Loop      bool    // the raw value is a loop current in units of 1 µA: 4000 is Low, 20000 is High
	Class     string  // how often it is worth reading: "fast", "routine" or "slow"
	Note      string

	id signal
}

// Words is the number of registers the value takes; 1 for a bit.
func (r Register) Words() uint16 {
	if r.Type == "uint32" || r.Type == "float32" {
		return 2
	}
	return 1
}

// The spans of the two pressure transmitters, in Pa.
const (
	dischargeLow, dischargeHigh = 0, 10e6
	suctionLow, suctionHigh     = -100e3, 1500e3
	counts                      = 4095 // of a 12-bit converter
)

// registers is the map of a skid. Addresses 17..31 of the holding registers
// and everything not listed answer with exception 2.
var registers = named([]Register{
	{id: driveStatus, Table: Holding, Address: 0, Type: "uint16", Scale: 1, High: 65535, Class: "routine", Note: "status word, IEC 61800-7-201"},
	{id: driveFaultCode, Table: Holding, Address: 1, Type: "uint16", Scale: 1, High: 65535, Class: "routine", Note: "0 is no fault"},
	{id: driveFrequency, Table: Holding, Address: 2, Type: "uint16", Scale: 0.01, Unit: "Hz", High: 100, Class: "routine"},
	{id: motorSpeed, Table: Holding, Address: 3, Type: "int16", Scale: 1, Unit: "rpm", Low: -3600, High: 3600, Class: "routine", Note: "estimated, filtered 100 ms"},
	{id: motorCurrent, Table: Holding, Address: 4, Type: "uint16", Scale: 0.1, Unit: "A", High: 100, Class: "routine"},
	{id: motorTorque, Table: Holding, Address: 5, Type: "int16", Scale: 0.1, Unit: "N·m", Low: -300, High: 300, Class: "routine"},
	{id: motorPower, Table: Holding, Address: 6, Type: "uint16", Scale: 0.01, Unit: "kW", High: 100, Class: "routine"},
	{id: driveHeatsink, Table: Holding, Address: 7, Type: "int16", Scale: 0.1, Unit: "°C", Low: -40, High: 150, Class: "slow"},
	{id: driveRunHours, Table: Holding, Address: 8, Type: "uint32", WordOrder: "CDAB", Scale: 1, Unit: "h", High: 1e6, Class: "slow", Note: "run hours, whole hours"},
	{id: drivePowerOnHours, Table: Holding, Address: 10, Type: "uint32", WordOrder: "CDAB", Scale: 1, Unit: "h", High: 1e6, Class: "slow", Note: "not run hours"},
	{id: driveEnergy, Table: Holding, Address: 12, Type: "uint32", WordOrder: "ABCD", Scale: 0.1, Unit: "kWh", High: 1e8, Class: "slow"},
	{id: selector, Table: Holding, Address: 14, Type: "uint16", Scale: 1, High: 2, Class: "routine", Note: "0 off, 1 hand, 2 auto"},
	{id: runCommand, Table: Coil, Address: 0, Type: "bool", Scale: 1, High: 1, Class: "routine"},

	{id: dischargePressure, Table: Input, Address: 0, Type: "uint16", Scale: (dischargeHigh - dischargeLow) / counts / 1e3, Offset: dischargeLow / 1e3, Unit: "kPa", Low: 0, High: 10000, Class: "fast", Note: "12-bit counts"},
	{id: shaftIndex, Table: Input, Address: 1, Type: "uint16", Scale: 1, High: 65535, Class: "fast", Note: "pulse count of the pump shaft, rolls over"},
	{id: suctionPressure, Table: Input, Address: 2, Type: "uint16", Scale: (suctionHigh - suctionLow) / counts / 1e3, Offset: suctionLow / 1e3, Unit: "kPa", Low: -100, High: 1500, Class: "fast", Note: "12-bit counts"},
	{id: shaftIndexAge, Table: Input, Address: 3, Type: "uint16", Scale: 0.1, Unit: "ms", High: 6553.5, Class: "fast", Note: "time since the last pulse; 6553.5 is long ago"},
	{id: glycolFlow, Table: Input, Address: 4, Type: "float32", WordOrder: "ABCD", Scale: 1, Unit: "L/min", Low: -5, High: 60, Class: "routine"},
	{id: glycolVolume, Table: Input, Address: 6, Type: "uint32", WordOrder: "ABCD", Scale: 0.1, Unit: "L", High: 429496729.5, Class: "routine", Note: "totaliser"},
	{id: glycolTemperature, Table: Input, Address: 8, Type: "int16", Scale: 0.1, Unit: "°C", Low: -40, High: 150, Class: "slow"},
	{id: oilTemperature, Table: Input, Address: 9, Type: "int16", Scale: 0.1, Unit: "°C", Low: -40, High: 150, Class: "slow"},
	{id: ambientTemperature, Table: Input, Address: 10, Type: "int16", Scale: 0.1, Unit: "°C", Low: -50, High: 80, Class: "slow"},
	{id: glycolLevel, Table: Input, Address: 11, Type: "uint16", Scale: 0.001, Unit: "mA", Loop: true, Low: 0, High: 100, Class: "routine", Note: "4–20 mA for 0–100 % of the tank"},
	{id: oilLevel, Table: Input, Address: 12, Type: "uint16", Scale: 0.1, Unit: "%", High: 100, Class: "slow"},
	{id: strainerDifferential, Table: Input, Address: 13, Type: "uint16", Scale: 0.1, Unit: "kPa", High: 200, Class: "slow"},
	{id: filterDifferential, Table: Input, Address: 14, Type: "uint16", Scale: 0.1, Unit: "kPa", High: 1000, Class: "slow"},
	{id: sealLeak, Table: Input, Address: 15, Type: "uint16", Scale: 1, High: 65535, Class: "slow", Note: "drop count of the shaft oil seal"},
	{id: contactorPressure, Table: Input, Address: 16, Type: "float32", WordOrder: "CDAB", Scale: 1, Unit: "kPa", High: 16000, Class: "routine"},
	{id: gasFlow, Table: Input, Address: 18, Type: "uint16", Scale: 1, Unit: "m³/h", High: 65535, Class: "slow", Note: "at standard conditions"},
	{id: gasTemperature, Table: Input, Address: 19, Type: "int16", Scale: 0.1, Unit: "°C", Low: -40, High: 100, Class: "slow"},

	{id: contactorAuxiliary, Table: Discrete, Address: 0, Type: "bool", Scale: 1, High: 1, Class: "routine"},
	{id: runDemand, Table: Discrete, Address: 1, Type: "bool", Scale: 1, High: 1, Class: "routine"},
	{id: permissive, Table: Discrete, Address: 2, Type: "bool", Scale: 1, High: 1, Class: "routine"},
	{id: diaphragmLeak, Table: Discrete, Address: 3, Type: "bool", Scale: 1, High: 1, Class: "routine"},
	{id: glycolFlowSwitch, Table: Discrete, Address: 4, Type: "bool", Scale: 1, High: 1, Class: "routine"},
	{id: oilLevelSwitch, Table: Discrete, Address: 5, Type: "bool", Scale: 1, High: 1, Class: "routine", Note: "1 is enough oil"},
	{id: bypassContactor, Table: Discrete, Address: 6, Type: "bool", Scale: 1, High: 1, Class: "routine"},
	{id: controlPower, Table: Discrete, Address: 7, Type: "bool", Scale: 1, High: 1, Class: "routine"},
	{id: bypassValve, Table: Discrete, Address: 8, Type: "bool", Scale: 1, High: 1, Class: "routine", Note: "1 is open"},
})

func named(rows []Register) []Register {
	for i := range rows {
		r := &rows[i]
		r.Signal = signalNames[r.id]
		if r.Table == Discrete || r.Table == Input {
			r.Device = Instruments
		}
	}
	return rows
}

// Registers lists the register map that every skid serves.
func Registers() []Register { return append([]Register(nil), registers...) }

// plan finds for each address of a table the row and the word within it.
var plan = func() (p [4][]slot) {
	for i, r := range registers {
		for w := range r.Words() {
			at := int(r.Address + w)
			for len(p[r.Table]) <= at {
				p[r.Table] = append(p[r.Table], slot{row: -1})
			}
			p[r.Table][at] = slot{row: i, word: w}
		}
	}
	return p
}()

type slot struct {
	row  int // −1 is nothing here
	word uint16
}

// Decode scales a raw value, the first register of two in the upper half when
// the word order is ABCD, into the unit of r; a loop becomes its share of the
// span in the range's unit.
func (r Register) Decode(raw uint32) float64 {
	x := float64(raw)
	switch r.Type {
	case "int16":
		x = float64(int16(raw))
	case "float32":
		x = float64(math.Float32frombits(raw))
	}
	if r.Loop {
		return r.Low + (x-4000)/16000*(r.High-r.Low)
	}
	return x*r.Scale + r.Offset
}
