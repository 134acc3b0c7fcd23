// Package service answers what a mechanic asks: what was done to a pump, what
// comes next and when, what to put on the truck, and whether the repair held.
//
// A [Task] has one or more intervals: run time, strokes per plunger, calendar
// time, and forms of these weighted by how hard the pump works; the one that
// is used most decides. What was done is in the ledger, a list of
// [drivers.ServiceRecord] that only grows: [Fold] turns it into the [Done] of
// every place of every task, and nothing else does. Life used is a pure
// function of a Done and the totals now.
//
// Strokes are strokes per plunger, which is pump revolutions: makers state
// valve and diaphragm intervals that way.
package service
