// Package quantity names the physical quantities pumpside computes with.
//
// Every type is a float64 in the one coherent unit its name says, so adding
// bar to kilopascal does not compile. Text with a unit ("10 MPa", "1450 psi")
// becomes a quantity where it enters, in [Parse]; nothing in between converts.
//
// Pressures are gauge unless a name says absolute. Temperatures are degrees
// Celsius, the unit of every instrument on the skid; differences are kelvin
// and have the same size.
package quantity

// Pascals is a gauge pressure: 0 is the local atmosphere.
type Pascals float64

// Celsius is a temperature.
type Celsius float64

// Meters is a length, or the height of a column of the pumped liquid.
type Meters float64

// SquareMeters is an area.
type SquareMeters float64

// CubicMeters is a volume.
type CubicMeters float64

// CubicMetersPerSecond is a volume flow, positive in the pump's own direction.
type CubicMetersPerSecond float64

// MetersPerSecond is a velocity.
type MetersPerSecond float64

// RevolutionsPerMinute is a shaft speed; its sign is the direction.
type RevolutionsPerMinute float64

// Hertz is a frequency.
type Hertz float64

// Seconds is a duration inside a formula; time.Duration everywhere else.
type Seconds float64

// Amperes is a current: a motor's, or a 4–20 mA loop's.
type Amperes float64

// NewtonMeters is a torque.
type NewtonMeters float64

// Watts is a power.
type Watts float64

// Joules is an energy.
type Joules float64

// Kilograms is a mass.
type Kilograms float64

// KilogramsPerCubicMeter is a density. Water at 20 °C is 998.2.
type KilogramsPerCubicMeter float64

// PascalSeconds is a dynamic viscosity. Water at 20 °C is 0.001.
type PascalSeconds float64

// PerPascal is a compressibility: the part of its volume a liquid loses for
// each pascal more.
type PerPascal float64

// Ratio is a number of one: 0.95 is 95 %.
type Ratio float64

// StandardGravity is g in m/s², exact by definition (3rd CGPM, 1901).
const StandardGravity = 9.80665
