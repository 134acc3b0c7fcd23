package page

import (
	"fmt"
	"strings"

	"pumpside/rules/alarm"
)

// worstCause is the likeliest explanation of anything that stands at a pump.
func (p *Pump) worstCause() *alarm.Cause {
	var worst *alarm.Cause
	for _, c := range p.causes() {
		if worst == nil || c.Probability > worst.Probability {
			worst = &c
		}
	}
	return worst
}

// causes are the likely explanations of what has changed; without a watched
// condition, those that the newest finding gives.
func (p *Pump) causes() []alarm.Cause {
	if p.Condition != nil {
		return p.Condition.Causes
	}
	var list []alarm.Cause
	var newest *alarm.Event
	for i := range p.Alarms {
		a := &p.Alarms[i]
		if stands(a) && a.Last != nil && len(a.Last.Causes) > 0 && (newest == nil || newest.At.Before(a.Last.At)) {
			newest, list = a.Last, a.Last.Causes
		}
	}
	return list
}

// causeWords puts a cause into words.
func causeWords(c *alarm.Cause) string {
	text := spaced(c.Cause)
	if c.Cylinder > 0 {
		text += fmt.Sprintf(", cylinder %d", c.Cylinder)
	}
	return text
}

// halfOf gives the half of the stroke in which a cause loses liquid: "suction",
// "discharge" or "" when it is about neither.
func halfOf(cause string) string {
	switch {
	case strings.Contains(cause, "loss_in_suction_half"):
		return "suction"
	case strings.Contains(cause, "loss_in_discharge_half"):
		return "discharge"
	}
	return ""
}

// A causeLine is one explanation with its probability.
type causeLine struct {
	Words, Percent string
	Width          float64 // of a bar, 0..100
}

func causeLines(causes []alarm.Cause) (list []causeLine) {
	for _, c := range causes {
		list = append(list, causeLine{sentence(causeWords(&c)), percent(c.Probability), 100 * c.Probability})
	}
	return list
}

// A cylinder of the diagram. X is the middle of its column.
type cylinder struct {
	Number              int
	X                   float64
	Suction, Discharge  string // percent that liquid is lost in that half; "" for nothing suspected
	HasSuction, HasDrop bool
}

// A diagram is the fluid end: suction below, discharge above.
type diagram struct {
	Width     float64
	Cylinders []cylinder
	Running   bool
	Where     string // what is known of where cylinder 1 is
	Verdict   string // what the marks say, in words
	Unplaced  []causeLine
}

// columnWidth is the width of a cylinder in the drawing.
const columnWidth = 96

func diagramOf(p *Pump) diagram {
	n := max(p.Cylinders, 1)
	d := diagram{Width: float64(n)*columnWidth + 16, Running: p.Running == alarm.Yes, Where: p.Cylinder1}
	for i := range n {
		d.Cylinders = append(d.Cylinders, cylinder{Number: i + 1, X: 8 + columnWidth*(float64(i)+0.5)})
	}
	var unplaced []alarm.Cause
	placed := 0
	for _, c := range p.causes() {
		half := halfOf(c.Cause)
		if half == "" || c.Cylinder < 1 || c.Cylinder > n {
			unplaced = append(unplaced, c)
			continue
		}
		placed++
		one := &d.Cylinders[c.Cylinder-1]
		if half == "suction" {
			one.Suction, one.HasSuction = percent(c.Probability), true
		} else {
			one.Discharge, one.HasDrop = percent(c.Probability), true
		}
	}
	d.Unplaced = causeLines(unplaced)
	d.Verdict = diagramVerdict(p, placed, len(unplaced))
	return d
}

func diagramVerdict(p *Pump, placed, unplaced int) string {
	why := ""
	if p.Condition != nil {
		why = p.Condition.NotNamed
	}
	switch {
	case placed == 0 && unplaced > 0 && why != "":
		return "Cylinder and side: not determinable. " + sentence(why) + "."
	case placed > 0:
		return "Marked is the valve that would lose liquid in the suspected half of the stroke, with the probability of that half."
	case unplaced > 0 && !p.NamesCylinders:
		return "Cylinder and side: not determinable with the signals installed."
	case unplaced > 0:
		return "Cylinder and side: not determinable from what was measured."
	}
	if !p.NamesCylinders {
		return "No finding. A finding could name neither cylinder nor side: not determinable with the signals installed."
	}
	if p.Condition != nil && !p.Condition.Learned {
		return "Not determinable yet: what is normal for this pump, where it works now, is still being learned."
	}
	return "No finding: nothing is marked."
}

// Right is where the headers end.
func (d diagram) Right() float64 { return d.Width - 4 }
