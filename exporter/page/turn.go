package page

import (
	"cmp"
	"fmt"
	"math"
	"math/cmplx"
	"slices"
	"strings"

	"pumpside/drivers/quantity"
	"pumpside/rules"
	"pumpside/rules/alarm"
)

// A turnPart is the discharge pressure over one turn of the shaft, over what
// was learned, with the orders it is made of.
type turnPart struct {
	Why     string // nothing is known, and why; "" when something is
	Old     bool   // the pump does not run now
	Unit    string
	Top     string // of the scale, above and below the mean
	Mean    figure
	Now     string // SVG paths in a box of 360 by 100; "" while not known
	Learned string
	Read    string
	Between string // what lies between the two, "" when nothing has changed
	Strokes []int  // cylinders, each where its discharge stroke begins
	Zero    string // what angle 0 is
	Summary string // of the picture, for those who do not see it
	Rows    []turnRow
	Orders  []orderRow
	First   *polar // of order 1
}

// A turnRow is the pressure at one angle, less the mean.
type turnRow struct{ Degrees, Now, Learned, Change string }

// An orderRow is one order of the pressure's ripple beside the baseline. The
// bars are 0..100 of the largest; Apart is how far the two vectors are apart,
// which may be more than their lengths differ.
type orderRow struct {
	Order                      int
	Width, LearnedAt           float64
	HasLearned, Moved          bool
	Now, Error, Learned, Apart string
}

// A polar is the vector of order 1, learned and now, in a box of 100 by 100.
type polar struct {
	X, Y, LearnedX, LearnedY float64
	Moved                    bool
	Summary                  string
}

// zeroWords say what the angle of a waveform counts from.
var zeroWords = map[string]string{
	rules.ZeroCylinder1: "Each cylinder is marked where it begins to discharge, cylinder 1 at 0°.",
	rules.ZeroIndex:     "0° is the index mark. Where cylinder 1 then is, nobody has stated.",
	rules.ZeroRipple:    "Without an index the angle is known up to a third of a turn only: no cylinder can be told.",
}

// turnOf is nil where a pump's condition is not watched.
func turnOf(v viewer, pump *Pump) *turnPart {
	c := pump.Condition
	if c == nil {
		return nil
	}
	unit, _ := unitOf(v.Units, "", quantity.Pressure)
	part := &turnPart{Unit: unit.Symbol, Old: pump.Running != alarm.Yes, Orders: orderRows(unit, c.Orders), First: polarOf(unit, c.Orders)}
	w := c.Waveform
	if w == nil || len(w.Now) == 0 {
		part.Why = "Nothing to draw: the pressure has not been followed over whole turns in the last 15 minutes."
		return part
	}
	part.draw(v, unit, w, len(c.Changed) > 0 && anyMoved(c.Orders))
	if w.Zero == rules.ZeroCylinder1 {
		for i := range pump.Cylinders {
			part.Strokes = append(part.Strokes, i+1)
		}
	}
	return part
}

func anyMoved(list []rules.OrderView) bool {
	for i := range list {
		if list[i].Moved {
			return true
		}
	}
	return false
}

func (t *turnPart) draw(v viewer, unit quantity.Unit, w *rules.WaveformView, changed bool) {
	peak := nice(max(reach(w.Now), reach(w.Learned), reach(w.Read)) / unit.Scale)
	scale := peak * unit.Scale
	t.Top, t.Mean, t.Zero = fixed(peak, decimalsOf(peak)), show(v.Units, "", quantity.Pressure, w.Mean), zeroWords[w.Zero]
	t.Now, t.Learned, t.Read = outline(round(w.Now, scale)), outline(round(w.Learned, scale)), dots(w.Read, scale)
	t.Summary = "Now from " + less(unit, w.Now) + " " + unit.Symbol + " about the mean of " + t.Mean.String()
	if len(w.Learned) > 0 {
		t.Summary += "; as learned from " + less(unit, w.Learned) + " " + unit.Symbol
		if changed {
			t.Between = between(w.Now, w.Learned, scale)
		}
	}
	t.Summary += "."
	t.Rows = turnRows(unit, w)
}

// reach is how far a curve goes from 0.
func reach(y []float32) (most float64) {
	for _, v := range y {
		most = max(most, math.Abs(float64(v)))
	}
	return most
}

// nice rounds up to 1, 1.5, 2, 3, 5 or 7 times a power of ten.
func nice(x float64) float64 {
	if !(x > 0) || math.IsInf(x, 0) {
		return 1
	}
	power := math.Pow(10, math.Floor(math.Log10(x)))
	for _, step := range []float64{1, 1.5, 2, 3, 5, 7} {
		if x <= step*power {
			return step * power
		}
	}
	return 10 * power
}

// decimalsOf gives those that two digits of a number need.
func decimalsOf(x float64) int { return max(0, 1-int(math.Floor(math.Log10(x)))) }

// place is where the value at index i of n is drawn.
func place(i, n int, y, scale float64) string {
	return fmt.Sprintf("%.1f %.1f", 360*(float64(i)+0.5)/float64(n), 50-50*y/scale)
}

// round are the points of a curve that goes round: it enters and leaves the
// box.
func round(y []float32, scale float64) (points []string) {
	n := len(y)
	for i := -1; n > 0 && i <= n; i++ {
		points = append(points, place(i, n, float64(y[(i+n)%n]), scale))
	}
	return points
}

func outline(points []string) string {
	if len(points) == 0 {
		return ""
	}
	return "M" + strings.Join(points, "L")
}

// between is the area between two curves.
func between(a, b []float32, scale float64) string {
	back := round(b, scale)
	slices.Reverse(back)
	return outline(append(round(a, scale), back...)) + "z"
}

// dots draws a point for each value.
func dots(y []float32, scale float64) string {
	var b strings.Builder
	for i, v := range y {
		b.WriteString("M" + place(i, len(y), float64(v), scale) + "h0")
	}
	return b.String()
}

func less(unit quantity.Unit, y []float32) string {
	low, high := y[0], y[0]
	for _, v := range y {
		low, high = min(low, v), max(high, v)
	}
	return fixed(float64(low)/unit.Scale, 1) + " to " + fixed(float64(high)/unit.Scale, 1)
}

// turnRows are the curves as a table, every 15 degrees.
func turnRows(unit quantity.Unit, w *rules.WaveformView) (rows []turnRow) {
	const steps = 24
	at := func(y []float32, k int) float64 {
		i := k * len(y) / steps // between two middles of parts of a turn
		return (float64(y[(i+len(y)-1)%len(y)]) + float64(y[i])) / 2 / unit.Scale
	}
	for k := range steps {
		row := turnRow{Degrees: fmt.Sprint(k * 360 / steps), Now: fixed(at(w.Now, k), 1), Learned: "--", Change: "--"}
		if len(w.Learned) > 0 {
			row.Learned, row.Change = fixed(at(w.Learned, k), 1), fixed(at(w.Now, k)-at(w.Learned, k), 1)
		}
		rows = append(rows, row)
	}
	return rows
}

func orderRows(unit quantity.Unit, list []rules.OrderView) (rows []orderRow) {
	largest := 0.0
	for i := range list {
		largest = max(largest, list[i].Amplitude, lengthOf(list[i].Now), lengthOf(list[i].Learned))
	}
	for i := range list {
		o := &list[i]
		now := o.Amplitude
		if o.Now != nil {
			now = o.Now.Amplitude
		}
		row := orderRow{Order: o.Order, Moved: o.Moved, Now: fixed(now/unit.Scale, 1), Error: fixed(o.Sigma/unit.Scale, 1), Learned: "--", Apart: "--"}
		if largest > 0 {
			row.Width = 100 * now / largest
		}
		if o.Learned != nil {
			row.HasLearned, row.Learned = true, fixed(o.Learned.Amplitude/unit.Scale, 1)
			if largest > 0 {
				row.LearnedAt = 100 * o.Learned.Amplitude / largest
			}
		}
		if o.Now != nil && o.Learned != nil {
			row.Apart = fixed(cmplx.Abs(vectorOf(o.Now)-vectorOf(o.Learned))/unit.Scale, 1)
		}
		rows = append(rows, row)
	}
	return rows
}

func lengthOf(v *rules.VectorView) float64 {
	if v == nil {
		return 0
	}
	return v.Amplitude
}

func vectorOf(v *rules.VectorView) complex128 {
	return cmplx.Rect(v.Amplitude, v.Degrees*math.Pi/180)
}

// polarOf draws order 1; nil while it is not known now and as learned.
func polarOf(unit quantity.Unit, list []rules.OrderView) *polar {
	for i := range list {
		o := &list[i]
		if o.Order != 1 || o.Now == nil || o.Learned == nil {
			continue
		}
		scale := cmp.Or(max(o.Now.Amplitude, o.Learned.Amplitude), 1)
		at := func(v *rules.VectorView) (x, y float64) {
			z := vectorOf(v) / complex(scale, 0)
			return 50 + 40*real(z), 50 - 40*imag(z)
		}
		p := &polar{Moved: o.Moved}
		p.X, p.Y = at(o.Now)
		p.LearnedX, p.LearnedY = at(o.Learned)
		p.Summary = fmt.Sprintf("Once a turn: now %s %s at %s°, as learned %s %s at %s°.", fixed(o.Now.Amplitude/unit.Scale, 1), unit.Symbol, fixed(o.Now.Degrees, 0),
			fixed(o.Learned.Amplitude/unit.Scale, 1), unit.Symbol, fixed(o.Learned.Degrees, 0))
		return p
	}
	return nil
}
