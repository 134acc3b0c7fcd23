package service

import (
	"slices"
	"time"

	"pumpside/drivers"
)

// Corrected gives records as they read under another opening: what was counted
// on top of the old one was counted on top of the new one. What people told
// stays, and so does a record that does not say its opening.
func Corrected(records []drivers.ServiceRecord, opening drivers.Opening) []drivers.ServiceRecord {
	list := slices.Clone(records)
	for i := range list {
		r := &list[i]
		if r.Opening == nil {
			continue
		}
		r.RunTime += opening.RunTime - r.Opening.RunTime
		r.Strokes += opening.Strokes - r.Opening.Strokes
		r.Opening = &opening
	}
	return list
}

// Shift moves what was remembered of the pump's totals when these move by so
// much without anything having run.
func (s *TaskState) Shift(run time.Duration, strokes float64) {
	if w := &s.Wear; w.From != nil {
		w.From = &Totals{RunTime: w.From.RunTime + run, Strokes: w.From.Strokes + strokes}
	}
	if w := &s.Wear; w.Tabled != nil {
		from := *w.Tabled + run
		w.Tabled = &from
	}
}

// Shift does the same for the duty.
func (d *Duty) Shift(run time.Duration, strokes float64) {
	d.Dawn.RunTime += run
	d.Dawn.Strokes += strokes
}
