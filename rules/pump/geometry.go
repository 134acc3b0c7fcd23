package pump

import (
	"math"

	"pumpside/drivers/quantity"
)

// Degrees is an angle of the pump's shaft, positive in the rated direction.
type Degrees float64

// A Geometry is what is fixed when the pump is built and installed. All of
// it comes from the maker's sheet, the motor plate and the installer.
type Geometry struct {
	Mechanism Mechanism
	Cylinders int             // 1 to 9, normally 3
	Bore      quantity.Meters // diameter of the plunger
	Stroke    quantity.Meters // twice the crank radius
	Dead      DeadVolume      // of one cylinder

	// Ratio is motor turns per pump turn: above 1 for a reduction, 1 when
	// the pump runs at motor speed.
	Ratio quantity.Ratio
	// Belt is whether a belt is part of the transmission: a belt can slip,
	// a gear cannot.
	Belt bool

	MotorPoles      int                           // an even number, 0 when not known
	MotorRatedSpeed quantity.RevolutionsPerMinute // of the plate, at rated load

	RatedSpeed    quantity.RevolutionsPerMinute // of the pump's shaft, the most it may turn
	RatedPressure quantity.Pascals              // at the discharge, the most it may make

	Index Index
	// Cylinder1 says in words which head is number one, such as "nearest the
	// coupling". Empty when nobody has said: then no cylinder is named.
	Cylinder1 string
}

// A DeadVolume is what stays between plunger and valves of one cylinder at
// the end of the discharge stroke. Its two liquids differ in compressibility.
type DeadVolume struct {
	Oil    quantity.CubicMeters // behind the diaphragm
	Liquid quantity.CubicMeters // pumped liquid, before it
}

// An Index is a signal that tells shaft angle. The zero Index is none.
type Index struct {
	// PulsesPerRevolution counts pulses per turn of the pump's shaft, 0
	// without an index. Any number but one, as from a gear's teeth or a target
	// on the motor's side, serves for speed but never for an angle: nobody
	// knows at which of them the counting began.
	PulsesPerRevolution float64
	// Angle is the shaft angle at the pulse: 0 if it comes as cylinder 1
	// starts to discharge. Some 20° off is good enough: by how much is seen
	// from the line, when a ramp has measured it.
	Angle Degrees
	// AngleKnown is whether someone has stated Angle.
	AngleKnown bool
}

// Present is whether there is an index at all.
func (x Index) Present() bool { return x.PulsesPerRevolution > 0 }

// Once is whether the index gives one pulse per revolution, so that it tells
// an angle and not only a speed.
func (x Index) Once() bool { return x.PulsesPerRevolution == 1 }

// Triplex is whether the pump has three cylinders, for which causes of a change
// were worked out.
func (g Geometry) Triplex() bool { return g.Cylinders == 3 }

// NamesCylinders is whether index and installer together can tie an angle to
// a numbered cylinder of a triplex.
func (g Geometry) NamesCylinders() bool {
	return g.Triplex() && g.Index.Once() && g.Index.AngleKnown && g.Cylinder1 != ""
}

// Displacement is the volume one plunger displaces in one stroke, π/4·d²·s.
func (g Geometry) Displacement() quantity.CubicMeters {
	return quantity.CubicMeters(math.Pi / 4 * float64(g.Bore*g.Bore*g.Stroke))
}

// DisplacementPerRevolution is the volume all plungers displace in one turn
// of the pump's shaft.
func (g Geometry) DisplacementPerRevolution() quantity.CubicMeters {
	return quantity.CubicMeters(g.Cylinders) * g.Displacement()
}

// PumpSpeed is the speed of the pump's shaft at a speed of the motor, without
// belt slip.
func (g Geometry) PumpSpeed(motor quantity.RevolutionsPerMinute) quantity.RevolutionsPerMinute {
	return motor / quantity.RevolutionsPerMinute(g.Ratio)
}

// StartOfDischarge is the shaft angle, in radians, where a cylinder (from 1)
// starts to discharge.
func (g Geometry) StartOfDischarge(cylinder int) float64 {
	return 2 * math.Pi * float64(cylinder-1) / float64(g.Cylinders)
}

// Validate says everything that is wrong, as [Problems] in the order of the
// fields, each with what would be right; nil when nothing is.
func (g Geometry) Validate() error {
	list := g.Mechanism.problems()
	if !between(g.Cylinders, 1, 9) {
		list.add("cylinders", "%d is outside 1 to 9; a triplex has 3", g.Cylinders)
	}
	for _, l := range []struct {
		field string
		value quantity.Meters
	}{{"bore", g.Bore}, {"stroke", g.Stroke}} {
		if !between(l.value, 3e-3, 0.5) {
			list.add(l.field, "%v m is outside 3 mm to 500 mm; check the unit", l.value)
		}
	}
	list = append(list, g.deadVolumeProblems()...)
	list = append(list, g.driveProblems()...)
	if !between(g.RatedPressure, 1e5, 100e6) {
		list.add("rated_pressure", "%v Pa is outside 1 bar to 100 MPa; check the unit", g.RatedPressure)
	}
	return append(list, g.Index.problems()...).err()
}

// deadVolumeProblems allows up to 20 displacements: small hydraulic ends have
// 1 to 5, and a value in the wrong unit is off by a thousand.
func (g Geometry) deadVolumeProblems() (list Problems) {
	most := 20 * g.Displacement()
	for _, v := range []struct {
		field string
		value quantity.CubicMeters
	}{{"dead_volume.oil", g.Dead.Oil}, {"dead_volume.liquid", g.Dead.Liquid}} {
		if !between(v.value, 0, most) {
			list.add(v.field, "%v m³ is outside 0 to %.3g m³, twenty times what one plunger displaces; give it per cylinder and check the unit", v.value, most)
		}
	}
	return list
}

func (g Geometry) driveProblems() (list Problems) {
	if !between(g.Ratio, 0.2, 200) {
		list.add("ratio", "%v is outside 0.2 to 200; give motor turns per pump turn, 1 without gear or belt", g.Ratio)
	}
	if g.MotorPoles != 0 && (!between(g.MotorPoles, 2, 48) || g.MotorPoles%2 != 0) {
		list.add("motor_poles", "%d is not an even number from 2 to 48; a motor of about 1,450 or 1,750 rpm has 4", g.MotorPoles)
	}
	if !between(g.MotorRatedSpeed, 50, 10000) {
		list.add("motor_rated_speed", "%v rpm is outside 50 to 10,000 rpm; take it from the motor plate", g.MotorRatedSpeed)
	}
	if !between(g.RatedSpeed, 10, 6000) {
		list.add("rated_speed", "%v rpm is outside 10 to 6,000 rpm; give the most the pump's shaft may turn", g.RatedSpeed)
	}
	if turns := g.PumpSpeed(g.MotorRatedSpeed); len(list) == 0 && turns > 2*g.RatedSpeed {
		list.add("ratio", "%v would turn the pump at %.0f rpm at the motor's rated %v rpm, twice what its rated_speed of %v rpm allows; is the ratio upside down?", g.Ratio, turns, g.MotorRatedSpeed, g.RatedSpeed)
	}
	return list
}

func (x Index) problems() (list Problems) {
	if !between(x.PulsesPerRevolution, 0, 4096) {
		list.add("pulses_per_revolution", "%v is outside 0 to 4096; count the pulses in one turn of the pump's shaft, 0 without an index", x.PulsesPerRevolution)
	}
	if x.AngleKnown && !between(x.Angle, -360, 360) {
		list.add("index_angle", "%v is outside −360 to 360 degrees", float64(x.Angle))
	}
	return list
}
