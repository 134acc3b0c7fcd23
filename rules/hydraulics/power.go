package hydraulics

import "pumpside/drivers/quantity"

// HydraulicPower is what the liquid gains, flow times differential pressure.
func HydraulicPower(flow quantity.CubicMetersPerSecond, p quantity.Pascals) quantity.Watts {
	return quantity.Watts(float64(flow) * float64(p))
}

// WireToLiquidEfficiency is hydraulic power by the electrical power taken. It
// is false when no power is taken.
func WireToLiquidEfficiency(hydraulic, electrical quantity.Watts) (quantity.Ratio, bool) {
	if !(electrical > 0) {
		return 0, false
	}
	return quantity.Ratio(hydraulic / electrical), true
}

// SynchronousSpeed is the speed of the field of a motor with that many poles,
// 120·f/p. It is 0 when the number of poles is not known.
func SynchronousSpeed(f quantity.Hertz, poles int) quantity.RevolutionsPerMinute {
	if poles <= 0 {
		return 0
	}
	return quantity.RevolutionsPerMinute(120 * float64(f) / float64(poles))
}

// MotorSlip is how far the rotor lags the field, as a share of its speed. It
// is false when the field stands.
func MotorSlip(synchronous, rotor quantity.RevolutionsPerMinute) (quantity.Ratio, bool) {
	if synchronous == 0 {
		return 0, false
	}
	return quantity.Ratio((synchronous - rotor) / synchronous), true
}

// LoadedSpeed is the speed of an induction motor fed with frequency f at
// constant flux: the slip in rpm is the rated slip times the share of rated
// torque, whatever the frequency.
func LoadedSpeed(f quantity.Hertz, poles int, ratedSlip quantity.RevolutionsPerMinute, torque quantity.Ratio) quantity.RevolutionsPerMinute {
	return SynchronousSpeed(f, poles) - ratedSlip*quantity.RevolutionsPerMinute(torque)
}

// BeltSlip is the share of speed lost between motor and pump, from both
// speeds and the ratio of motor turns per pump turn. A gear has none: with a
// gear it says that the coupling slips, or that the ratio is wrong. It is
// false when the motor stands.
func BeltSlip(motor, shaft quantity.RevolutionsPerMinute, ratio quantity.Ratio) (quantity.Ratio, bool) {
	if motor == 0 {
		return 0, false
	}
	return 1 - quantity.Ratio(shaft/motor)*ratio, true
}
