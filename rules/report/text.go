package report

import (
	"fmt"
	"io"
	"strings"
	"time"

	"pumpside/rules/alarm"
)

// changesShown is what fits on a phone's screen with the rest.
const changesShown = 12

// A Text is how a report is written for people.
type Text struct {
	Zone     *time.Location // nil is UTC
	Currency string         // of the cost of energy
	All      bool           // every change, not only the newest
}

// Print writes the report, the most needed first. Lines are short enough for a
// phone held upright, but for headlines, which wrap.
func (r *Report) Print(w io.Writer, how Text) {
	if how.Zone == nil {
		how.Zone = time.UTC
	}
	p := printer{w, how}
	p.line("%s, %s (%s since %s)", r.Title, p.when(r.At), span(r.At.Sub(r.Since)), p.when(r.Since))
	if !r.ClockGood {
		p.line("The clock is not synchronised: times may be wrong.")
	}
	p.needs(r.Needs)
	p.groups(r.Groups)
	p.pumps(r.Pumps)
	p.changes(r.Changes)
	p.standing(r.Standing)
	p.silenced(r.Silenced)
	p.due(r.Due)
	if len(r.Silent) > 0 {
		p.title("Devices that do not answer")
		p.line("  %s", strings.Join(r.Silent, ", "))
	}
	p.performance(&r.Performance)
}

type printer struct {
	w   io.Writer
	how Text
}

func (p printer) line(format string, args ...any) {
	fmt.Fprintln(p.w, strings.TrimRight(fmt.Sprintf(format, args...), " "))
}

func (p printer) title(text string) { p.line("\n%s", text) }

func (p printer) when(t time.Time) string {
	if t.IsZero() {
		return "not known"
	}
	return t.In(p.how.Zone).Format("02 Jan 15:04 MST")
}

func (p printer) needs(list []Need) {
	p.title("Needs a person")
	if len(list) == 0 {
		p.line("  nobody")
	}
	for _, n := range list {
		p.line("  %s: %s", strings.ToUpper(spaced(n.Urgency.String())), orElse(n.Tag, "site"))
		for _, why := range n.Why {
			p.line("    %s", why)
		}
		if len(n.Kit) > 0 {
			p.line("    bring: %s", strings.Join(n.Kit, "; "))
		}
	}
}

func (p printer) groups(list []Group) {
	for _, g := range list {
		p.title("Circulation " + g.Title)
		p.line("  %s: %d of %d required deliver, spare %s, gas %s", moves[g.Moves], g.Delivering, g.Required, spaced(string(g.Spare)), flows[g.Gas])
		p.line("  flow %s, target %s", number(g.Flow, "%.1f L/min"), number(g.Target, "%.1f L/min"))
		share := ""
		if g.Share != nil {
			share = fmt.Sprintf(", %.0f %% of target", 100**g.Share)
		}
		p.line("  circulated %s%s; lost %d times", number(g.Circulated, "%.1f m³"), share, g.Lost)
	}
}

var (
	moves = map[alarm.Known]string{alarm.Yes: "kept", alarm.No: "NOT KEPT", alarm.Unknown: "not known"}
	flows = map[alarm.Known]string{alarm.Yes: "flowing", alarm.No: "not flowing", alarm.Unknown: "not known"}
)

func (p printer) pumps(list []Pump) {
	p.title("Pumps")
	for _, one := range list {
		since := "since not known"
		if one.ForSeconds != nil {
			since = "for " + span(time.Duration(*one.ForSeconds*float64(time.Second)))
		}
		p.line("  %s %s %s", one.Tag, strings.ToUpper(spaced(one.Mode.String())), since)
		if one.Wanted == alarm.Unknown {
			p.line("    demand not known")
		}
		p.line("    ran %s, %s starts, unobserved %s", number(one.Run, "%.1f h"), number(one.Starts, "%.0f"), number(one.Unobserved, "%.1f h"))
		cost := ""
		if one.Cost != nil {
			cost = strings.TrimRight(fmt.Sprintf(", %.2f %s", *one.Cost, p.how.Currency), " ")
		}
		p.line("    pumped %s, %s%s, %s", number(one.Pumped, "%.1f m³"), number(one.Energy, "%.1f kWh"), cost, number(one.PerVolume, "%.2f kWh/m³"))
		if one.Restarts > 0 {
			p.line("    drive restarted by itself %d times", one.Restarts)
		}
	}
}

func (p printer) changes(list []Change) {
	p.title(fmt.Sprintf("Changes (%d)", len(list)))
	if !p.how.All && len(list) > changesShown {
		defer p.line("  … and %d older; --all shows them", len(list)-changesShown)
		list = list[:changesShown]
	}
	for _, c := range list {
		p.line("  %s %s", p.when(c.At), c.Text)
	}
}

func (p printer) standing(list []Standing) {
	if len(list) == 0 {
		return
	}
	p.title("Standing alarms, oldest first")
	for _, s := range list {
		stale := ""
		if s.Stale {
			stale = ", STALE"
		}
		p.line("  %s %s, %s%s", p.when(s.Since), named(s.Pump, s.Alarm), spaced(s.State), stale)
	}
}

func (p printer) silenced(list []Silenced) {
	if len(list) == 0 {
		return
	}
	p.title("Silenced")
	for _, s := range list {
		until := "not known"
		if s.Until != nil {
			until = p.when(*s.Until)
		}
		p.line("  %s, %s by %s until %s", named(s.Pump, s.Alarm), spaced(s.How), s.By, until)
	}
}

func (p printer) due(list []Due) {
	p.title("Due within 7 days")
	if len(list) == 0 {
		p.line("  nothing")
	}
	for _, d := range list {
		at := "date not known"
		if d.At != nil {
			at = p.when(*d.At)
		}
		p.line("  %s %s: %s, %.0f %% used, %s", d.Tag, d.Title, spaced(d.Status), 100*d.Used, at)
	}
}

func (p printer) performance(a *Performance) {
	p.title("The alarms themselves")
	p.line("  %d alarms, %d advisories, %d calls; %s a pump and month", a.Alarms, a.Advisories, a.Calls, number(a.PerPumpMonth, "%.1f alarms"))
	p.line("  standing %d, stale %d, not acknowledged %d, chattering %d, floods %d", a.Standing, a.Stale, a.Unseen, a.Chattering, a.Floods)
	for _, f := range a.Frequent {
		p.line("  %d× %s", f.Count, named(f.Pump, f.Alarm))
	}
}

func named(pump, name string) string {
	if pump == "" {
		return name
	}
	return pump + "/" + name
}

func number(x *float64, format string) string {
	if x == nil {
		return "not known"
	}
	return fmt.Sprintf(format, *x)
}

func orElse(text, otherwise string) string {
	if text == "" {
		return otherwise
	}
	return text
}

func spaced(word string) string { return strings.ReplaceAll(word, "_", " ") }

// span writes a time as people say it.
func span(d time.Duration) string {
	switch {
	case d >= 48*time.Hour:
		return fmt.Sprintf("%.0f d", d.Hours()/24)
	case d >= time.Hour:
		return fmt.Sprintf("%.0f h", d.Hours())
	case d >= time.Minute:
		return fmt.Sprintf("%.0f min", d.Minutes())
	}
	return fmt.Sprintf("%.0f s", d.Seconds())
}
