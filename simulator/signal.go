package simulator

// A signal is one value a device can show.
type signal uint8

const (
	noSignal signal = iota
	driveStatus
	driveFaultCode
	driveFrequency
	motorSpeed
	motorCurrent
	motorTorque
	motorPower
	driveHeatsink
	driveRunHours
	drivePowerOnHours
	driveEnergy
	selector
	dischargePressure
	shaftIndex
	suctionPressure
	shaftIndexAge
	glycolFlow
	glycolVolume
	glycolTemperature
	oilTemperature
	ambientTemperature
	glycolLevel
	oilLevel
	strainerDifferential
	filterDifferential
	sealLeak
	contactorPressure
	gasFlow
	gasTemperature
	contactorAuxiliary
	runDemand
	permissive
	diaphragmLeak
	glycolFlowSwitch
	oilLevelSwitch
	bypassContactor
	controlPower
	bypassValve
	runCommand
	signalCount
)

// signalNames is the text of every signal: the role it plays for a pump.
var signalNames = [signalCount]string{
	driveStatus: "drive_status", driveFaultCode: "drive_fault_code", driveFrequency: "drive_frequency",
	motorSpeed: "motor_speed", motorCurrent: "motor_current", motorTorque: "motor_torque", motorPower: "motor_power",
	driveHeatsink: "drive_heatsink_temperature", driveRunHours: "drive_run_hours",
	drivePowerOnHours: "drive_power_on_hours", driveEnergy: "drive_energy", selector: "selector",
	dischargePressure: "discharge_pressure", shaftIndex: "shaft_index", suctionPressure: "suction_pressure",
	shaftIndexAge: "shaft_index_age", glycolFlow: "glycol_flow", glycolVolume: "glycol_volume",
	glycolTemperature: "glycol_temperature", oilTemperature: "hydraulic_oil_temperature",
	ambientTemperature: "ambient_temperature", glycolLevel: "glycol_level", oilLevel: "hydraulic_oil_level",
	strainerDifferential: "strainer_differential_pressure", filterDifferential: "filter_differential_pressure",
	sealLeak: "seal_leak", contactorPressure: "contactor_pressure", gasFlow: "gas_flow", gasTemperature: "gas_temperature",
	contactorAuxiliary: "contactor_auxiliary", runDemand: "run_demand", permissive: "permissive",
	diaphragmLeak: "diaphragm_leak", glycolFlowSwitch: "glycol_flow_switch", oilLevelSwitch: "oil_level_switch",
	bypassContactor: "bypass_contactor", controlPower: "control_power", bypassValve: "bypass_valve", runCommand: "run_command",
}

func signalNamed(name string) signal {
	for i, n := range signalNames {
		if n == name && n != "" {
			return signal(i)
		}
	}
	return noSignal
}
