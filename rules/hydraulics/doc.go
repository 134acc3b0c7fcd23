// Package hydraulics computes what a plunger pump and its glycol do: flow and
// volumetric efficiency, power, slip, ripple, suction margin, and the
// circulation a dehydration unit needs.
//
// Each formula names its source. All arguments and results are quantities in
// coherent SI units; a result that cannot be computed (a pump at rest, a
// division by nothing) is not a number but false.
//
// # Slip
//
// Pump slip is liquid that flows back, motor slip is how far a motor lags its
// field, belt slip is what a belt loses. They have nothing to do with each
// other and never appear without the noun.
package hydraulics
