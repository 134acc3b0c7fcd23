package page

import (
	"context"
	"strconv"
	"time"

	"pumpside/drivers/quantity"
	"pumpside/rules/alarm"
)

// A shiftRow is what one pump did in the time of a report.
type shiftRow struct {
	Tag, Mode                               string
	Run, Unobserved, Starts, Pumped, Energy figure
	Total                                   string
}

// A groupRow is the circulation of one group of pumps.
type groupRow struct {
	Title, Word string
	Wrong       bool // glycol is wanted and does not move
	Pumps       string
	Flow        string // "" when it is not known
	Lost        int    // times circulation was lost in the time of a report
}

// addShift puts what the rules' own report says into words.
func (p *Page) addShift(ctx context.Context, to *handover, v viewer, span time.Duration) error {
	r, err := p.source.Report(ctx, span)
	if err != nil {
		return err
	}
	for i := range r.Pumps {
		one := &r.Pumps[i]
		to.Shift = append(to.Shift, shiftRow{
			Tag: one.Tag, Mode: spaced(one.Mode.String()), Total: hours(one.TotalRun*3600, 1),
			Run: perhaps(one.Run, 1, "h"), Unobserved: perhaps(one.Unobserved, 1, "h"), Starts: perhaps(one.Starts, 0, ""),
			Pumped: perhaps(one.Pumped, 1, "m³"), Energy: perhaps(one.Energy, 0, "kWh"),
		})
	}
	for i := range r.Groups {
		g := &r.Groups[i]
		row := groupWords(g.Title, g.Moves, g.Wanted, g.Delivering, g.Required)
		row.Lost = g.Lost
		if g.Flow != nil {
			const litresPerMinute = 1e-3 / 60
			row.Flow = flowWords(v, *g.Flow*litresPerMinute)
		}
		to.Groups = append(to.Groups, row)
	}
	return nil
}

// perhaps writes a number that may not be known.
func perhaps(x *float64, decimals int, unit string) figure {
	if x == nil {
		return figure{"--", unit}
	}
	return figure{fixed(*x, decimals), unit}
}

func groupWords(title string, moves, wanted alarm.Known, delivering, required int) groupRow {
	row := groupRow{Title: title, Word: "whether glycol circulates is not known", Pumps: strconv.Itoa(delivering) + " of " + strconv.Itoa(required) + " pumps needed deliver"}
	switch {
	case moves == alarm.Yes:
		row.Word = "glycol circulates"
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
