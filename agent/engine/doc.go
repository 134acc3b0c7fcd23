// Package engine is the shell around the pure rules: it moves values in and
// changes out, owns the goroutine of each pump and of the site, and publishes
// immutable snapshots.
//
// Changes are given to a [Keeper] before anyone is told: what a consumer sees
// is in the store, or marked as not stored.
package engine
