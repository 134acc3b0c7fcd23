package service

import (
	"math"
	"time"

	"pumpside/drivers/quantity"
)

// Totals are the pump's counters a task is measured in, and the task's own
// meters, which count the same weighted by how hard the pump works.
type Totals struct {
	RunTime time.Duration
	Strokes float64 // per plunger

	WarmTime time.Duration `json:",omitzero"` // run time weighted by oil temperature
	Worn     float64       `json:",omitzero"` // strokes per plunger weighted by pressure
	Share    float64       `json:",omitzero"` // of the table's intervals, 1 is one interval
}

// Warm weights run time by oil temperature: above Base every Step doubles it,
// 2^((T−Base)/Step), below Base it counts as it is. This is the 10-degree rule
// (E. C. Fitch); base temperatures from 60 to 80 °C are in use and some hold
// the rule not to fit modern oils, so both are settings. The zero Warm weights
// nothing.
type Warm struct {
	Base quantity.Celsius
	Step float64 // kelvin; 10 is the rule's name
}

// Factor is what one hour at t counts; never below 1. An unknown temperature
// (NaN) counts 1.
func (w Warm) Factor(t quantity.Celsius) float64 {
	if !(w.Step > 0) || !(t > w.Base) {
		return 1
	}
	return math.Exp2(float64(t-w.Base) / w.Step)
}

// Pressure weights strokes by discharge pressure, (p/Reference)^Exponent: the
// inverse power law of accelerated life tests (W. Nelson, Accelerated Testing,
// 1990). Reference is the pressure for which the maker states the interval.
// The exponent is for the part: 1 when wear goes with load, 3 where fatigue
// rules as in bearings (ISO 281). The zero Pressure weights nothing.
type Pressure struct {
	Reference quantity.Pascals
	Exponent  float64
}

// Factor is what one stroke at p counts. An unknown pressure (NaN) counts 1.
func (w Pressure) Factor(p quantity.Pascals) float64 {
	if !(w.Reference > 0) || w.Exponent == 0 || math.IsNaN(float64(p)) {
		return 1
	}
	return math.Pow(max(float64(p/w.Reference), 0), w.Exponent)
}

// A Table is intervals by how the pump runs, as makers print them. The first
// row that fits decides; what fits none takes the last row. Time in a row uses
// up life in proportion, so that changing conditions add up (Miner's rule).
type Table []Row

// A Row is one interval. A zero bound does not bind.
type Row struct {
	Speed       quantity.RevolutionsPerMinute // of the pump shaft, up to
	Pressure    quantity.Pascals              // at the discharge, up to
	Temperature quantity.Celsius              // of the oil, up to
	RunTime     time.Duration
}

// Conditions are how the pump runs; NaN is not known and fits no bound.
type Conditions struct {
	Speed    quantity.RevolutionsPerMinute // of the pump shaft
	Pressure quantity.Pascals              // at the discharge
	Oil      quantity.Celsius
}

// Unknown are conditions nobody knows.
var Unknown = Conditions{quantity.RevolutionsPerMinute(math.NaN()), quantity.Pascals(math.NaN()), quantity.Celsius(math.NaN())}

// Interval is the interval under c; 0 for an empty table.
func (t Table) Interval(c Conditions) time.Duration {
	for i := range t {
		if r := &t[i]; within(c.Speed, r.Speed) && within(c.Pressure, r.Pressure) && within(c.Oil, r.Temperature) {
			return r.RunTime
		}
	}
	if len(t) == 0 {
		return 0
	}
	return t[len(t)-1].RunTime
}

// plain is what run time uses up under conditions nobody knows.
func (t Table) plain(run time.Duration) float64 {
	if interval := t.Interval(Unknown); interval > 0 {
		return float64(run) / float64(interval)
	}
	return 0
}

func within[T ~float64](x, limit T) bool { return limit == 0 || x <= limit }

// Weighted reports whether the task counts anything by how the pump runs.
func (t *Task) Weighted() bool {
	return t.Warm.Step > 0 || t.Pressure.Reference > 0 || len(t.Table) > 0
}

// A Wear is a task's own meters since they began. What the pump had run before
// counts unweighted, and by the table's last row.
type Wear struct {
	From     *Totals       `json:"from,omitempty"` // of the pump when WarmTime and Worn began; nil: they have not
	WarmTime time.Duration `json:"warm_time"`
	Worn     float64       `json:"worn_strokes"`

	Tabled *time.Duration `json:"tabled_from,omitempty"` // run time of the pump when Share began; nil without a table
	Share  float64        `json:"table_share"`
}

// begin starts the meters that have not begun at the pump's totals, and
// reports whether one did. Where nothing is weighted WarmTime and Worn go on
// plainly, so that a weighting that comes later finds them.
func (w *Wear) begin(t *Task, totals *Totals) (begun bool) {
	if w.From == nil {
		w.From, w.WarmTime, w.Worn, w.Tabled = &Totals{RunTime: totals.RunTime, Strokes: totals.Strokes}, 0, 0, nil
		begun = true
	}
	switch {
	case len(t.Table) == 0:
		w.Tabled, w.Share = nil, 0
	case w.Tabled == nil:
		run := totals.RunTime
		w.Tabled, w.Share, begun = &run, 0, true
	}
	return begun
}

// Step counts on by what the pump ran since, under conditions c.
func (w *Wear) Step(t *Task, c Conditions, run time.Duration, strokes float64) {
	w.WarmTime += time.Duration(float64(run) * t.Warm.Factor(c.Oil))
	w.Worn += strokes * t.Pressure.Factor(c.Pressure)
	if interval := t.Table.Interval(c); interval > 0 && w.Tabled != nil {
		w.Share += float64(run) / float64(interval)
	}
}

// Totals are the pump's totals with the task's own meters.
func (w *Wear) Totals(t *Task, pump Totals) Totals {
	pump.WarmTime, pump.Worn, pump.Share = w.WarmTime, w.Worn, w.Share
	if w.From == nil {
		return pump
	}
	pump.WarmTime += w.From.RunTime
	pump.Worn += w.From.Strokes
	if w.Tabled != nil {
		pump.Share += t.Table.plain(*w.Tabled)
	}
	return pump
}

// then gives the totals of an earlier moment, at which the task's own meters
// are known to have stood as in pump; one that had not begun then counts
// plainly.
func (w *Wear) then(t *Task, pump Totals) Totals {
	if w.From == nil {
		return pump
	}
	if pump.RunTime <= w.From.RunTime {
		pump.WarmTime, pump.Worn = pump.RunTime, pump.Strokes
	} else {
		pump.WarmTime += w.From.RunTime
		pump.Worn += w.From.Strokes
	}
	switch {
	case w.Tabled == nil || pump.RunTime <= *w.Tabled:
		pump.Share = t.Table.plain(pump.RunTime)
	default:
		pump.Share += t.Table.plain(*w.Tabled)
	}
	return pump
}

// read is what the meters showed at totals: the reverse of then.
func (w *Wear) read(t *Task, totals Totals) Totals {
	if w.From != nil {
		totals.WarmTime = max(totals.WarmTime-w.From.RunTime, 0)
		totals.Worn = max(totals.Worn-w.From.Strokes, 0)
	}
	if w.Tabled != nil {
		totals.Share = max(totals.Share-t.Table.plain(*w.Tabled), 0)
	}
	return totals
}
