// Package pump describes one pump in plain values: its mechanism, its
// geometry, the names of its valves, and the kits that renew its parts.
//
// # Angle
//
// Shaft angle θ is that of the pump's own shaft and is 0 where cylinder 1
// starts its discharge stroke. It grows in the pump's rated direction of
// rotation. Cylinder n of m starts discharging at θ = 2π(n−1)/m, and spends
// half a revolution discharging and half a revolution sucking.
//
// # Words
//
// A cylinder is one head: a plunger with its diaphragm and two check valves,
// numbered from 1 at the place the installer states. A stroke is one cycle of
// one plunger, which is one revolution of the shaft.
package pump
