// Package condition notices that a pump is no longer what it was.
//
// An [Indicator] is a number, or a vector in the plane, that stays where it
// is while the pump is well: an order of the pressure, the volumetric
// efficiency. A [Band] is a range of speed, pressure and temperatures within
// which it is nearly the same number. A [State] learns for each band where each
// indicator lies, how it moves with the operating point within the band, and how
// much it scatters (its baseline), robustly, and then watches the standardised
// difference with a [Cusum]. What few blocks cannot tell yet of centre and slopes
// is allowed for, since a sum takes any lasting difference for a change.
//
// Limits on an amplitude would be worthless here: a leak can make the first
// order smaller. What is watched is the vector's distance from this pump's own
// baseline, in eight directions.
//
// A baseline is learned from what there is: it is marked as learned, never as
// healthy. While a change stands, its band does not learn, so a fault is never
// taken in by and by.
package condition
