package drivers

import "pumpside/drivers/quantity"

// A Signal is the role a measuring point plays for a pump or a group. Values
// from [FirstAuxiliary] on are the site's own signals, in the order of the
// pump's configuration.
type Signal uint16

// The roles. Their names, units and metric names are in [Signals].
const (
	NoSignal Signal = iota
	DriveStatus
	DriveFaultCode
	MotorSpeed
	DriveFrequency
	MotorCurrent
	MotorTorque
	MotorPower
	DriveRunHours
	DriveHeatsinkTemperature
	ContactorAuxiliary
	BypassContactor
	RunDemand
	Permissive
	Selector
	ControlPower
	SuctionPressure
	DischargePressure
	GlycolFlow
	GlycolVolume
	GlycolFlowSwitch
	GlycolTemperature
	GlycolLevel
	StrainerDifferentialPressure
	FilterDifferentialPressure
	BypassValve
	HydraulicOilTemperature
	HydraulicOilLevel
	OilLevelSwitch
	DiaphragmLeak
	SealLeak
	ShaftIndex
	AmbientTemperature
	ContactorPressure
	GasFlow
	GasPressure
	GasTemperature
	CirculationDemand

	// SignalCount is one past the last role.
	SignalCount
)

// FirstAuxiliary is the first of a pump's site-named signals.
const FirstAuxiliary Signal = 64

// MaxAuxiliary is how many site-named signals a pump may have.
const MaxAuxiliary = 32

// Auxiliary gives the signal of the i-th site-named signal of a pump.
func Auxiliary(i int) Signal { return FirstAuxiliary + Signal(i) }

// AuxiliaryIndex gives i back, and whether s is a site-named signal.
func (s Signal) AuxiliaryIndex() (int, bool) {
	return int(s) - int(FirstAuxiliary), s >= FirstAuxiliary
}

// A Kind says what a signal's number means.
type Kind uint8

const (
	// Analog is a measured quantity in the base unit of its dimension.
	Analog Kind = iota
	// Switch is 0 or 1; 1 is what the signal's name says.
	Switch
	// State is a small enumeration: see [DriveState].
	State
	// Count is a number that only rises and rolls over at the register's size.
	Count
)

// A SignalInfo is what everyone must agree on about one role.
type SignalInfo struct {
	Name      string             // as in the configuration and on MQTT
	Kind      Kind               //
	Dimension quantity.Dimension // None for switches, states and counts
	Metric    string             // Prometheus family without the prefix
	Help      string             // one line for people
	Ripples   bool               // moves within a turn: limits are judged on a rolling median
}

// Signals is the table of roles; index it with a [Signal].
var Signals = [SignalCount]SignalInfo{
	DriveStatus:                  {"drive_status", State, quantity.None, "drive_state", "State of the motor drive: 0 unknown, 1 stopped, 2 running, 3 fault.", false},
	DriveFaultCode:               {"drive_fault_code", Count, quantity.None, "drive_fault_code", "Fault code of the motor drive as its maker numbers it; 0 is none.", false},
	MotorSpeed:                   {"motor_speed", Analog, quantity.Speed, "motor_speed_revolutions_per_minute", "Speed of the motor shaft.", false},
	DriveFrequency:               {"drive_frequency", Analog, quantity.Frequency, "drive_frequency_hertz", "Output frequency of the motor drive.", false},
	MotorCurrent:                 {"motor_current", Analog, quantity.Current, "motor_current_amperes", "Current of the motor.", true},
	MotorTorque:                  {"motor_torque", Analog, quantity.Torque, "motor_torque_newton_meters", "Torque of the motor as the drive estimates it.", true},
	MotorPower:                   {"motor_power", Analog, quantity.Power, "motor_power_watts", "Power of the motor.", true},
	DriveRunHours:                {"drive_run_hours", Analog, quantity.Duration, "drive_run_seconds", "The motor drive's own run-hour meter.", false},
	DriveHeatsinkTemperature:     {"drive_heatsink_temperature", Analog, quantity.Temperature, "drive_heatsink_temperature_celsius", "Temperature of the motor drive's heat sink.", false},
	ContactorAuxiliary:           {"contactor_auxiliary", Switch, quantity.None, "contactor_auxiliary", "1 while the motor contactor is closed.", false},
	BypassContactor:              {"bypass_contactor", Switch, quantity.None, "bypass_contactor", "1 while the motor runs past its drive.", false},
	RunDemand:                    {"run_demand", Switch, quantity.None, "run_demand", "1 while the pump is asked to run.", false},
	Permissive:                   {"permissive", Switch, quantity.None, "permissive", "1 while the pump is allowed to run.", false},
	Selector:                     {"selector", State, quantity.None, "selector", "Selector switch: 0 off, 1 hand, 2 auto.", false},
	ControlPower:                 {"control_power", Switch, quantity.None, "control_power", "1 while control power is present.", false},
	SuctionPressure:              {"suction_pressure", Analog, quantity.Pressure, "suction_pressure_pascals", "Suction pressure, gauge.", true},
	DischargePressure:            {"discharge_pressure", Analog, quantity.Pressure, "discharge_pressure_pascals", "Discharge pressure, gauge.", true},
	GlycolFlow:                   {"glycol_flow", Analog, quantity.Flow, "glycol_flow_cubic_meters_per_second", "Glycol flow delivered.", true},
	GlycolVolume:                 {"glycol_volume", Analog, quantity.Volume, "glycol_volume_cubic_meters", "Totaliser of the glycol meter.", false},
	GlycolFlowSwitch:             {"glycol_flow_switch", Switch, quantity.None, "glycol_flow_switch", "1 while glycol flows.", false},
	GlycolTemperature:            {"glycol_temperature", Analog, quantity.Temperature, "glycol_temperature_celsius", "Temperature of the glycol at the pump.", false},
	GlycolLevel:                  {"glycol_level", Analog, quantity.Share, "glycol_level_ratio", "Level in the glycol surge vessel, part of its span.", false},
	StrainerDifferentialPressure: {"strainer_differential_pressure", Analog, quantity.Pressure, "strainer_differential_pressure_pascals", "Pressure lost in the suction strainer.", false},
	FilterDifferentialPressure:   {"filter_differential_pressure", Analog, quantity.Pressure, "filter_differential_pressure_pascals", "Pressure lost in the discharge filter.", false},
	BypassValve:                  {"bypass_valve", Switch, quantity.None, "bypass_valve", "1 while the bypass valve is open.", false},
	HydraulicOilTemperature:      {"hydraulic_oil_temperature", Analog, quantity.Temperature, "hydraulic_oil_temperature_celsius", "Temperature of the hydraulic oil.", false},
	HydraulicOilLevel:            {"hydraulic_oil_level", Analog, quantity.Share, "hydraulic_oil_level_ratio", "Level of the hydraulic oil, part of its span.", false},
	OilLevelSwitch:               {"oil_level_switch", Switch, quantity.None, "oil_level_switch", "1 while the oil level is low.", false},
	DiaphragmLeak:                {"diaphragm_leak", Switch, quantity.None, "diaphragm_leak", "1 while leak detection says a diaphragm has failed.", false},
	SealLeak:                     {"seal_leak", Analog, quantity.Flow, "seal_leak_cubic_meters_per_second", "Leakage past the shaft seal.", false},
	ShaftIndex:                   {"shaft_index", Count, quantity.None, "shaft_index", "Index pulses of the pump shaft.", false},
	AmbientTemperature:           {"ambient_temperature", Analog, quantity.Temperature, "ambient_temperature_celsius", "Temperature of the air.", false},
	ContactorPressure:            {"contactor_pressure", Analog, quantity.Pressure, "contactor_pressure_pascals", "Pressure in the gas contactor, gauge.", false},
	GasFlow:                      {"gas_flow", Analog, quantity.Flow, "gas_flow_standard_cubic_meters_per_second", "Gas flow at standard conditions.", false},
	GasPressure:                  {"gas_pressure", Analog, quantity.Pressure, "gas_pressure_pascals", "Gas pressure, gauge.", false},
	GasTemperature:               {"gas_temperature", Analog, quantity.Temperature, "gas_temperature_celsius", "Gas temperature.", false},
	CirculationDemand:            {"circulation_demand", Switch, quantity.None, "circulation_demand", "1 while the group is asked to circulate glycol.", false},
}

// Info gives the table row of s. A site-named signal has no row: its name and
// unit are the configuration's.
func (s Signal) Info() SignalInfo {
	if s >= SignalCount {
		return SignalInfo{Name: "auxiliary"}
	}
	return Signals[s]
}

// String gives the name of s as the configuration writes it.
func (s Signal) String() string { return s.Info().Name }

// SignalNamed finds a role by its configuration name.
func SignalNamed(name string) (Signal, bool) {
	for s := NoSignal + 1; s < SignalCount; s++ {
		if Signals[s].Name == name {
			return s, true
		}
	}
	return NoSignal, false
}

// A DriveState is what a status word comes down to.
type DriveState uint8

// The values of the signal [DriveStatus].
const (
	DriveUnknown DriveState = iota
	DriveStopped
	DriveRunning
	DriveFault
)

// String gives the word people read.
func (d DriveState) String() string {
	if int(d) < len(driveStateWords) {
		return driveStateWords[d]
	}
	return driveStateWords[DriveUnknown]
}

var driveStateWords = [...]string{"unknown", "stopped", "running", "fault"}
