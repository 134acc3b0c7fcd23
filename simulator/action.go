package simulator

import (
	"fmt"
	"strings"
)

// An Action is something that happens to a skid: an order given to it, a
// device that misbehaves, or a fault of the machine. Faults have a size and
// grow to it; the others happen at once.
type Action uint8

// Orders. Size is not used unless the comment says so.
const (
	Start         Action = iota // run command on
	Stop                        // run command off: the drive ramps down
	DriveTrip                   // Size is the fault code, 1 when 0; the motor coasts
	DriveReset                  // fault cleared; the run command stands as it was
	SetSpeed                    // Size is the pump speed in rpm
	AcrossTheLine               // bypass contactor: Size 1 puts the motor on the mains, 0 takes it off; the drive shows nothing
	DemandOn                    // the process wants circulation
	DemandOff
	Selector   // Size is 0 off, 1 hand, 2 auto
	Permissive // Size 1 gives it, 0 takes it; the run command stands

	// Devices on the bus. They name the drive or the instruments with Device.
	DeviceSilent    // does not answer
	DeviceLate      // Size is the delay of every answer in seconds
	DeviceRefusing  // Size is the exception code, 4 when 0
	DeviceAnswering // well again
	MeterReplaced   // hour meter and energy meter of the drive start from 0

	// Single valves and heads. Cylinder is 0, 1 or 2. The size of a leak is
	// its flow through the closed valve at full difference, over the mean flow
	// of one healthy cylinder.
	SuctionValveLeak
	DischargeValveLeak
	SuctionDebris     // a leak that comes and goes, minutes at a time
	DischargeDebris   //
	SuctionLazy       // size 1: lift and seating lag of a twentieth of a turn
	DischargeLazy     //
	SuctionStuck      // size 1: never closes
	DischargeStuck    //
	PlungerLeak       // past the plunger ring at 60 °C oil: linear in pressure, grows as oil thins
	OilCellRelief     // size is the flow of the relief valve at rated pressure; lifts above 85 % of it
	MakeUpStuck       // size is the part of the stroke lost at 60 °C oil; worse cold
	SmallHead         // size is the part of the displacement missing
	GassyHead         // size is the gas at atmospheric pressure, over the plunger's displacement
	SeatBypass        // seat O-ring: a leak of the discharge valve linear in pressure
	DiaphragmLeak     // size 1: rupture. The leak detector wets, then oil and glycol mix
	AllValvesWorn     // size is the leak of each of the six valves
	OilAerated        // size is the air at atmospheric pressure, over each plunger's displacement
	OilLow            // size 1: sump empty. Air is drawn, minutes after start
	GasLocked         // size 1: every head full of gas, no flow
	SuctionClosed     // size 1: nothing comes in
	StrainerPlugged   // size is the strainer's differential at rated flow, in units of 10 kPa
	Foam              // size 1: gas comes with the glycol, erratic
	TankLow           // size is the part of the level lost
	DampenerLost      // size 1: no gas left
	DampenerOver      // size 1: charged above the working pressure: the bladder never opens
	FilterPlugged     // size is the discharge filter's differential at rated flow, in units of 100 kPa
	BypassOpen        // size is the part of the flow that returns to the tank before the meter
	ReliefPassing     // the same without the bypass valve's switch
	BackFlow          // line check valve leaks: gas comes back through the stopped pump
	BeltSlip          // size 1: the pump stands while the motor turns
	Reversed          // size 1: the shaft turns the other way: cylinders 2 and 3 change places
	IndexMoved        // size is the part of a turn
	SpeedWobble       // size is the speed's once-per-turn amplitude, over the speed
	SpeedTwice        // size is its twice-per-turn amplitude, as of a universal joint that is not straight
	ExtraHeat         // size is kelvin more of oil temperature
	SealLeak          // size is drops per minute of the shaft oil seal
	Cold              // size is kelvin the glycol is below its setting
	ContactorPressure // size is the pressure in MPa; 0 is the setting again

	// Instruments. They name the signal.
	Drift  // size is the part of the span
	Frozen // size 1
	Failed // size 1: wire broken, 3.5 mA
	Noisy  // size is the deviation over the span
	Scaled // size is the part it reads too high: a turbine in pulsation

	actionCount
)

// names is the text of every Action, as in scenario files.
var names = [actionCount]string{
	Start: "start", Stop: "stop", DriveTrip: "drive trip", DriveReset: "drive reset", SetSpeed: "set speed", AcrossTheLine: "across the line",
	DemandOn: "demand on", DemandOff: "demand off", Selector: "selector", Permissive: "permissive",
	DeviceSilent: "device silent", DeviceLate: "device late", DeviceRefusing: "device refusing",
	DeviceAnswering: "device answering", MeterReplaced: "meter replaced",
	SuctionValveLeak: "suction valve leak", DischargeValveLeak: "discharge valve leak",
	SuctionDebris: "suction valve debris", DischargeDebris: "discharge valve debris",
	SuctionLazy: "suction valve lazy", DischargeLazy: "discharge valve lazy",
	SuctionStuck: "suction valve stuck open", DischargeStuck: "discharge valve stuck open",
	PlungerLeak: "plunger leak", OilCellRelief: "oil cell relief", MakeUpStuck: "make-up valve stuck",
	SmallHead: "small head", GassyHead: "gassy head", SeatBypass: "seat o-ring leak",
	DiaphragmLeak: "diaphragm leak", AllValvesWorn: "all valves worn", OilAerated: "oil aerated", OilLow: "oil low",
	GasLocked: "gas locked", SuctionClosed: "suction closed", StrainerPlugged: "strainer plugged", Foam: "foam",
	TankLow: "tank low", DampenerLost: "dampener lost", DampenerOver: "dampener overcharged",
	FilterPlugged: "filter plugged", BypassOpen: "bypass open", ReliefPassing: "relief passing", BackFlow: "back flow",
	BeltSlip: "belt slip", Reversed: "reversed", IndexMoved: "index moved", SpeedWobble: "speed wobble", SpeedTwice: "speed wobble twice a turn",
	ExtraHeat: "extra heat", SealLeak: "seal leak", Cold: "cold glycol", ContactorPressure: "contactor pressure",
	Drift: "signal drift", Frozen: "signal frozen", Failed: "signal failed", Noisy: "signal noisy", Scaled: "signal scaled",
}

// String gives the text of a, such as "suction valve leak".
func (a Action) String() string {
	if a >= actionCount {
		return fmt.Sprintf("action %d", uint8(a))
	}
	return names[a]
}

// Actions lists every Action in the order of the constants.
func Actions() []Action {
	list := make([]Action, actionCount)
	for i := range list {
		list[i] = Action(i)
	}
	return list
}

// ParseAction finds the Action with that text.
func ParseAction(text string) (Action, error) {
	for i, name := range names {
		if name == text {
			return Action(i), nil
		}
	}
	return 0, fmt.Errorf("unknown action %q; one of %s", text, strings.Join(names[:], ", "))
}

// IsFault reports whether a grows to a size and can be taken back with size 0.
func (a Action) IsFault() bool { return a >= SuctionValveLeak && a < actionCount }

func (a Action) ofInstrument() bool { return a >= Drift && a <= Scaled }
