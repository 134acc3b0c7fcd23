package page

import (
	"context"
	"fmt"
	"strconv"
	"strings"
	"time"

	"pumpside/drivers"
	"pumpside/drivers/quantity"
	"pumpside/rules/alarm"
	"pumpside/rules/report"
)

// A shiftRow is what one pump did in the time of a report, and how it stands.
type shiftRow struct {
	Tag, Mode, For, Note                    string
	Run, Unobserved, Starts, Pumped, Energy figure
	Total                                   string
}

// A needRow is a pump that needs a person, or the site itself.
type needRow struct {
	Pump, Tag   string // "" for the site
	Urgency, By string
	Why, Bring  string
	Now         bool
}

// A groupRow is the circulation of one group of pumps.
type groupRow struct {
	Title, Word string
	Wrong       bool // glycol is wanted and does not move
	Pumps       string
	Spare       string
	Flow        string // "" when it is not known
	Did         string // in the time of a report
	Lost        string // how often circulation was lost in that time, and for how long; "" for at no time
}

// addShift puts what the rules' own report says into words.
func (p *Page) addShift(ctx context.Context, to *handover, v viewer, currency string, span time.Duration) error {
	r, err := p.source.Report(ctx, span)
	if err != nil {
		return err
	}
	for i := range r.Needs {
		to.Needs = append(to.Needs, needOf(to, &r.Needs[i]))
	}
	for i := range r.Pumps {
		to.Shift = append(to.Shift, shiftOf(v, &r.Pumps[i]))
	}
	for i := range r.Groups {
		to.Groups = append(to.Groups, groupOf(v, currency, &r.Groups[i]))
	}
	to.Silent, to.Alarms = r.Silent, alarmsWords(&r.Performance)
	return nil
}

// needOf gives the reasons in the words of the lists below it.
func needOf(to *handover, n *report.Need) needRow {
	row := needRow{Pump: n.Pump, Tag: n.Tag, Urgency: spaced(n.Urgency.String()), By: spaced(n.By), Bring: strings.Join(n.Kit, "; "), Now: n.Urgency == report.Now}
	var why []string
	for _, l := range to.Standing {
		if l.Pump == n.Pump && l.active && !strings.HasSuffix(l.Name, "_due") && !strings.HasSuffix(l.Name, "_overdue") { // the task itself is told
			why = append(why, l.Title)
		}
	}
	for _, t := range to.Late {
		if t.Pump == n.Pump && t.Late {
			why = append(why, lower(t.Title)+" "+t.Word)
		}
	}
	if len(why) == 0 {
		why = n.Why
	}
	row.Why = strings.Join(why, "; ")
	return row
}

func shiftOf(v viewer, one *report.Pump) shiftRow {
	row := shiftRow{
		Tag: one.Tag, Mode: spaced(one.Mode.String()), Total: hours(one.TotalRun*3600, 1), For: "since when is not known",
		Run: perhaps(one.Run, 1, "h"), Unobserved: perhaps(one.Unobserved, 1, "h"), Starts: perhaps(one.Starts, 0, ""), Energy: perhaps(one.Energy, 0, "kWh"),
		Pumped: figure{"--", cubic(v.Units, 0).Unit},
	}
	if one.ForSeconds != nil {
		row.For = "for " + ago(time.Duration(*one.ForSeconds*float64(time.Second)))
	}
	if one.Pumped != nil {
		row.Pumped = cubic(v.Units, *one.Pumped)
	}
	var notes []string
	if one.Wanted == alarm.Unknown {
		notes = append(notes, "whether it should run is not known")
	}
	if one.Restarts > 0 {
		notes = append(notes, fmt.Sprintf("its drive restarted by itself %d times in 24 h", one.Restarts))
	}
	row.Note = strings.Join(notes, "; ")
	return row
}

// perhaps writes a number that may not be known.
func perhaps(x *float64, decimals int, unit string) figure {
	if x == nil {
		return figure{"--", unit}
	}
	return figure{fixed(*x, decimals), unit}
}

// spareWords say whether a pump stands behind those that run.
var spareWords = map[drivers.Standby]string{
	"": "", drivers.StandbyUnknown: "whether a standby is ready is not known", drivers.StandbyNone: "there is no standby", drivers.StandbyRunning: "the standby is running too",
	drivers.StandbyAvailable: "a standby is ready", drivers.StandbyNotAvailable: "no standby is ready",
}

func groupOf(v viewer, currency string, g *report.Group) groupRow {
	row := groupWords(g.Title, g.Moves, g.Wanted, g.Delivering, g.Required)
	row.Lost, row.Spare = lostWords(g), spareWords[g.Spare]
	flow, target := "flow not known", "no target known"
	if g.Flow != nil {
		flow = flowWords(v, litresPerMinute(*g.Flow))
	}
	if g.Target != nil {
		target = "target " + flowWords(v, litresPerMinute(*g.Target))
		if g.TargetBy == "gas" {
			target += " by the gas"
		}
	}
	row.Flow = flow + ", " + target
	row.Did = circulatedWords(v, currency, g)
	return row
}

// circulatedWords say what a group did in the time of a report, and what it
// cost; what is not known is left out.
func circulatedWords(v viewer, currency string, g *report.Group) string {
	var list []string
	if g.Circulated != nil {
		text := cubic(v.Units, *g.Circulated).String() + " circulated"
		if g.Needed != nil {
			text += " of " + cubic(v.Units, *g.Needed).String() + " needed"
		}
		if g.Share != nil {
			text += " (" + percent(*g.Share) + " %)"
		}
		list = append(list, text)
	}
	if g.Energy != nil {
		list = append(list, "motors used "+fixed(*g.Energy, 1)+" kWh"+costWords(g.Cost, currency))
	}
	if g.ExcessHeat != nil && *g.ExcessHeat >= 1 {
		list = append(list, "about "+fixed(*g.ExcessHeat, 0)+" kWh of reboiler heat beyond need"+costWords(g.HeatCost, currency))
	}
	return strings.Join(list, "; ")
}

// lostWords say how often the circulation was lost, and for how long in all.
func lostWords(g *report.Group) string {
	if g.Lost == 0 {
		return ""
	}
	times := "once"
	if g.Lost > 1 {
		times = strconv.Itoa(g.Lost) + " times"
	}
	return "circulation lost " + times + ", " + ago(time.Duration(g.LostFor*float64(time.Second)))
}

// costWords is "" without a price.
func costWords(x *float64, currency string) string {
	if x == nil {
		return ""
	}
	return strings.TrimRight(", "+fixed(*x, 2)+" "+currency, " ")
}

// litresPerMinute in m³/s.
func litresPerMinute(x float64) float64 { return x * 1e-3 / 60 }

func groupWords(title string, moves, wanted alarm.Known, delivering, required int) groupRow {
	row := groupRow{Title: title, Word: "whether glycol circulates is not known", Pumps: strconv.Itoa(delivering) + " of " + strconv.Itoa(required) + " pumps needed deliver"}
	switch {
	case moves == alarm.Yes:
		row.Word = "glycol circulates"
	case moves == alarm.No && wanted == alarm.Yes && delivering > 0:
		row.Word, row.Wrong = "glycol circulates, but too few pumps deliver", true
	case moves == alarm.No && wanted == alarm.Yes:
		row.Word, row.Wrong = "glycol does not circulate and is wanted", true
	case moves == alarm.No && wanted == alarm.No:
		row.Word = "glycol does not circulate; it is not wanted"
	case moves == alarm.No:
		row.Word = "glycol does not circulate; whether it is wanted is not known"
	}
	return row
}

func flowWords(v viewer, cubicMetersPerSecond float64) string {
	return show(v.Units, "glycol_flow", quantity.Flow, cubicMetersPerSecond).String()
}

// groupRows are the groups of the site as they stand.
func groupRows(v viewer, view *View) (rows []groupRow) {
	for i := range view.Own.Groups {
		g := &view.Own.Groups[i]
		title := view.Site.Groups[g.Group]
		if title == "" {
			title = g.Group
		}
		row := groupWords(title, g.Moves, g.Wanted, g.Delivering, g.Required)
		if g.FlowKnown {
			row.Flow = flowWords(v, float64(g.Flow))
		}
		rows = append(rows, row)
	}
	return rows
}

// alarmsWords say how the alarms themselves did.
func alarmsWords(p *report.Performance) string {
	text := plural(p.Alarms, "alarm") + ", " + advisories(p.Advisories) + ", " + plural(p.Calls, "call") + ", " + strconv.Itoa(p.NightCalls) + " of them at night"
	if p.Escalated > 0 {
		text += ", " + strconv.Itoa(p.Escalated) + " because nobody had acknowledged"
	}
	text += ". "
	if p.PerPumpMonth != nil {
		text += fixed(*p.PerPumpMonth, 1) + " alarms a pump and month; one at most is the aim. "
	}
	text += fmt.Sprintf("%d active, %d of them for more than 24 h; %d not acknowledged.", p.Standing, p.Stale, p.Unseen)
	if p.Chattering > 0 {
		text += fmt.Sprintf(" %d came and went too fast to follow.", p.Chattering)
	}
	if p.Acknowledge != nil {
		text += " Half were acknowledged within " + ago(time.Duration(*p.Acknowledge*float64(time.Second))) + "."
	}
	return text
}

func advisories(n int) string {
	if n == 1 {
		return "1 advisory"
	}
	return strconv.Itoa(n) + " advisories"
}
