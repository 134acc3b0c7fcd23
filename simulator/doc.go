// Package simulator is a motor-driven triplex diaphragm pump to test against:
// its physics, its instruments, its faults and its Modbus devices.
//
// A [Skid] is one pump with drive, piping and transmitters. Its time goes
// forward by [Skid.Advance], as fast as wanted, or to the instant at which
// somebody reads a register; what it shows at an instant does not depend on
// how often it was looked at. [Truth] is what really happened: what a counter
// of hours and strokes should arrive at. An [Event] is an order, a fault or a
// device that misbehaves; a [Scenario] is a list of them for several skids.
// [Registers] describes every value on the wire. A [Server] puts units on TCP,
// on a serial line, or RTU frames on TCP.
//
// The codec is the package's own, so that a mistake shared with the agent's
// library cannot hide.
//
// Signs and zeros: pressures are gauge where they are settings or readings and
// absolute inside the circuit; the shaft angle is 0 where cylinder 1 (index 0)
// starts its discharge stroke; cylinder j follows by j thirds of a turn; a
// spectrum is A·cos(kθ + φ).
//
// # Two details
//
// [Mean] is for hundreds of pumps: mean flow and pressures from closed
// formulas, and one ripple table of the ideal pump (ideal.go) on the line's
// inertance. [Full] is for the analysis of valves: it solves the circuit.
//
// # The circuit
//
// Plunger (mechanism.go): x/r = 1 − cos a ∓ (1 − √(1 − λ²sin²a))/λ, λ = r/L,
// minus when discharge is the stroke away from the crank; a sine for wobble
// plates.
//
// Chamber (chamber.go): V(θ) = Vₒ(1 − βₒp) + V_g(1 − β_g p) + G·pₐ/p. Oil and
// glycol shrink in a straight line, gas by Boyle's law, and the balance of the
// glycol is dV_g/dt = Q_suction − Q_discharge, less what room the lost oil
// makes. Late opening, the loss P·β·c/d of the handbooks (Hydraulic Institute
// 6.1–6.5), gas lock and cavitation all follow from it.
//
// Valve (valve.go): Q = c_d·A·y·√(2Δp/ρ); the lift y follows (Δp − opening)/full
// with a lag. A leak is an orifice that never shuts: its size is its flow at
// full difference over the mean flow of one healthy cylinder. It takes q/2 of
// mean flow and adds 1x of (2/π)q.
//
// Line (pipe.go): segments of inertance ρL/A and compliance βAL; friction is
// the larger of Hagen–Poiseuille and Blasius, plus a boundary layer's for the
// swing (thin layers of Womersley, 1955). A dampener holds gas by pVⁿ = const.
//
// Liquids (liquid.go): Andrade's law for viscosity, straight lines for density.
//
// Integration (circuit.go): a leapfrog for the line, an implicit step for
// everything behind a valve. Steps of half a degree leave 1x within 0.1 kPa of
// ever finer steps.
//
// # The fast path
//
// At steady speed all this repeats each turn. The periodic state is solved at
// corners of a grid of speed, pressure and temperatures, for each set of
// faults, and looked up by shaft angle between them (grid.go); while the speed
// changes the circuit is integrated in step with time (transit.go), so that a
// start ramp shows the line's resonances as they are. A fault that grows is
// cut into pieces of straight lines (growth.go).
//
// # What is left out
//
// Torque has no ripple and the motor's speed does not feel the single stroke.
// Flow meter, temperatures and levels are first-order lags. Gas in a head stays
// where it is until an event takes it out. Two pumps on a header add up as if
// the other's open valves were not there. Sizes of valves, clearances and
// thermal constants are common practice without a source.
package simulator
