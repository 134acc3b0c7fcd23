package condition

import (
	"fmt"
	"math"

	"pumpside/drivers/quantity"
	"pumpside/rules/hydraulics"
	"pumpside/rules/orders"
	"pumpside/rules/pump"
)

// An Indicator names what is watched.
type Indicator string

// Indicators that are plain numbers. Orders are vectors: see
// [OrderIndicator].
const (
	VolumetricEfficiency Indicator = "volumetric_efficiency"
	TorquePerPressure    Indicator = "torque_per_pressure" // N·m per Pa of differential pressure
	SuctionPressure      Indicator = "suction_pressure"
)

var orderIndicators = func() (table [pump.Discharge + 1][orders.Highest + 1]Indicator) {
	for _, side := range []pump.Side{pump.Suction, pump.Discharge} {
		for k := range table[side] {
			table[side][k] = Indicator(fmt.Sprintf("%v_order_%d", side, k))
		}
	}
	return table
}()

// OrderIndicator names order k of the pressure on one side, such as
// "discharge_order_1".
func OrderIndicator(side pump.Side, k int) Indicator { return orderIndicators[side][k] }

// An Observation is one value of an indicator.
type Observation struct {
	Indicator Indicator
	Value     complex128 // a plain number is its real part
	Vector    bool       // whether the imaginary part means anything
	Joined    bool       // whether it is watched together with others too
	Variance  float64    // of the value, per part, as its source states it; 0 when it does not
	// Least is the smallest change worth noticing, in the unit of Value; 0
	// for any.
	Least float64
	// Place is where in its band the pump worked, and Slope how far the value
	// may depend on it: in each direction the standard deviation, over pumps,
	// of its change from one edge of the band to the other.
	Place, Slope Place
}

// FromOrders appends the observations of a window: each order reported up to
// highest, as a vector in the angles the result has been turned to. least is
// the smallest change of an order worth noticing. Windows in which the speed
// moved more than 1 % give none.
func FromOrders(list []Observation, side pump.Side, r *orders.Result, highest int, least float64) []Observation {
	const steady = 0.01
	if r.Spread > steady {
		return list
	}
	for k := 1; k <= highest; k++ {
		if r.Has(k) {
			re, im, _ := r.Covariance(k)
			list = append(list, Observation{
				Indicator: OrderIndicator(side, k), Value: r.Amplitude(k),
				Vector: true, Variance: (re + im) / 2, Least: least,
			})
		}
	}
	return list
}

// FromFlow is the observation of the volumetric efficiency; false when there
// is none, or it is above what any pump can have and so a matter of the
// instruments.
func FromFlow(g pump.Geometry, flow quantity.CubicMetersPerSecond, speed quantity.RevolutionsPerMinute) (Observation, bool) {
	const most = 1.2
	eff, ok := hydraulics.VolumetricEfficiency(flow, hydraulics.TheoreticalFlow(g, speed))
	if !ok || eff > most || math.IsNaN(float64(eff)) {
		return Observation{}, false
	}
	return Number(VolumetricEfficiency, float64(eff), 0.005), true
}

// Number is an observation of a plain number whose source states no error.
func Number(i Indicator, value, least float64) Observation {
	return Observation{Indicator: i, Value: complex(value, 0), Least: least}
}
