package report

import (
	"fmt"
	"io"
	"strings"
	"time"

	"pumpside/rules"
	"pumpside/rules/alarm"
	"pumpside/rules/service"
)

// changesShown is what fits on a phone's screen with the rest.
const changesShown = 12

// A Text is how a report is written for people.
type Text struct {
	Zone     *time.Location // nil is UTC
	Currency string         // of the cost of energy
	All      bool           // every change, not only the newest
}

// Print writes the report, the most needed first: who is needed, whether the
// glycol moves and what has changed fill a phone's screen and no more. Lines are short enough for a
// phone held upright, but for headlines, which wrap.
func (r *Report) Print(w io.Writer, how Text) {
	if how.Zone == nil {
		how.Zone = time.UTC
	}
	p := printer{w, how, r.At, r.Offline}
	p.line("%s, %s (%s since %s)", r.Title, p.when(r.At), span(r.At.Sub(r.Since)), p.when(r.Since))
	if !r.ClockGood {
		p.line("The clock is not synchronised: times may be wrong.")
	}
	switch {
	case !r.Offline:
	case r.AsOf == nil:
		p.line("No agent runs, and no pump was ever seen: nothing is known of now.")
	default:
		p.line("No agent runs: all this is as of %s, nothing is known since.", p.when(*r.AsOf))
	}
	p.needs(r.Needs)
	p.groups(r.Groups, r.AsOf)
	p.changes(r.Changes)
	p.pumps(r.Pumps)
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
	w       io.Writer
	how     Text
	now     time.Time
	offline bool // no agent runs
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

// hour is short for what is of the last day.
func (p printer) hour(t time.Time) string {
	local := t.In(p.how.Zone)
	if p.now.Sub(t) < 24*time.Hour {
		return local.Format("15:04")
	}
	return local.Format("02 Jan 15:04")
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

func (p printer) groups(list []Group, asOf *time.Time) {
	for _, g := range list {
		p.title("Circulation: " + g.Title)
		if p.offline {
			since := ""
			if asOf != nil {
				since = " since " + p.hour(*asOf)
			}
			p.line("  not known%s; before, %s", since, lost(&g))
			p.line("  circulated %s, energy %s", number(g.Circulated, "%.1f m³"), number(g.Energy, "%.1f kWh"))
			continue
		}
		p.line("  %s%s, standby %s, gas %s, %s", moves[g.Moves], delivering(&g), spaced(string(g.Spare)), flows[g.Gas], lost(&g))
		p.line("  flow %s, target %s%s", number(g.Flow, "%.1f L/min"), number(g.Target, "%.1f L/min"), targetWords[g.TargetBy])
		p.line("  circulated %s, needed %s%s", number(g.Circulated, "%.1f m³"), number(g.Needed, "%.1f m³"), given(g.Share, 100, " (%.0f %%)"))
		p.line("  energy %s%s%s", number(g.Energy, "%.1f kWh"), p.cost(g.Cost), given(g.PerVolume, 1, ", %.2f kWh/m³"))
		if g.ExcessHeat != nil && *g.ExcessHeat >= 1 {
			p.line("  beyond need: about %.0f kWh of reboiler heat%s", *g.ExcessHeat, p.cost(g.HeatCost))
		}
	}
}

var (
	moves       = map[alarm.Known]string{alarm.Yes: "kept", alarm.No: "NOT KEPT", alarm.Unknown: "not known"}
	flows       = map[alarm.Known]string{alarm.Yes: "flowing", alarm.No: "not flowing", alarm.Unknown: "not known"}
	targetWords = map[string]string{"gas": " by the gas"}
)

// cost is empty without a price.
func (p printer) cost(x *float64) string {
	return strings.TrimRight(given(x, 1, ", %.2f "+strings.ReplaceAll(p.how.Currency, "%", "%%")), " ")
}

// given is empty for what is not known.
func given(x *float64, scale float64, format string) string {
	if x == nil {
		return ""
	}
	return fmt.Sprintf(format, scale**x)
}

// pumps takes a line or two a pump, so that a dozen can be read at once.
func (p printer) pumps(list []Pump) {
	p.title("Pumps")
	for _, one := range list {
		p.line("  %s %s", one.Tag, p.state(&one))
		if one.Run == nil {
			p.line("    what it did: not known")
			continue
		}
		p.line("    ran %.1f h, %s, %s%s%s%s", *one.Run, counted(one.Starts, "start"), number(one.Pumped, "%.1f m³"), given(one.PerVolume, 1, ", %.2f kWh/m³"), unobserved(one.Unobserved), restarted(one.Restarts))
	}
}

// state tells how a pump stands; of one that nobody sees now, how it stood when
// it was last seen.
func (p printer) state(one *Pump) string {
	const unknown = "NOT KNOWN whether it runs"
	switch {
	case one.Mode != rules.ModeUnknown:
		demand := ""
		if one.Mode == rules.Running && one.WantedBy == rules.WantedUnknown { // the other modes say it
			demand = wantedWords[one.WantedBy]
		}
		return strings.ToUpper(spaced(one.Mode.String())) + demand + lasted(one.ForSeconds)
	case one.LastMode == nil || one.LastSeen == nil:
		return unknown
	case !p.offline:
		return unknown + fmt.Sprintf("; %s when last seen, %s", spaced(one.LastMode.String()), p.hour(*one.LastSeen))
	}
	by := ""
	if one.LastWantedBy != nil && *one.LastMode == rules.Running { // the other modes say it
		by = wantedWords[*one.LastWantedBy]
	}
	return fmt.Sprintf("as of %s: %s%s%s; nothing since", p.hour(*one.LastSeen), spaced(one.LastMode.String()), by, lasted(one.LastFor))
}

// wantedWords say behind "running" what told that the pump should.
var wantedWords = map[string]string{rules.WantedByDemand: " on demand", rules.WantedByGroup: " on the demand of its group", rules.WantedUnknown: ", demand not known"}

func lasted(seconds *float64) string {
	if seconds == nil {
		return ""
	}
	return " for " + span(time.Duration(*seconds*float64(time.Second)))
}

// delivering counts, where anybody can.
func delivering(g *Group) string {
	if g.Moves == alarm.Unknown {
		return fmt.Sprintf(" whether %d deliver", g.Required)
	}
	return fmt.Sprintf(": %d of %d required deliver", g.Delivering, g.Required)
}

// unobserved is told from three minutes on.
func unobserved(hours *float64) string {
	if hours == nil || *hours < 0.05 {
		return ""
	}
	return fmt.Sprintf(", UNOBSERVED %.1f h", *hours)
}

func restarted(n int) string {
	if n == 0 {
		return ""
	}
	return ", drive restarted by itself " + times(n)
}

// lost says how often and for how long the circulation was lost, and that it is
// short or lost now, which no alarm tells in its first minute.
func lost(g *Group) string {
	text := "lost at no time"
	if g.Lost > 0 {
		text = "lost " + times(g.Lost) + ", " + span(time.Duration(g.LostFor*float64(time.Second)))
	}
	switch {
	case g.Moves != alarm.No || g.Wanted != alarm.Yes:
	case g.Delivering > 0:
		return "short now, " + text
	case g.Lost == 0:
		return "lost just now"
	default:
		return text + ", and now"
	}
	return text
}

func times(n int) string {
	switch n {
	case 1:
		return "once"
	}
	return fmt.Sprintf("%d times", n)
}

func counted(n *float64, what string) string {
	switch {
	case n == nil:
		return what + "s not known"
	case *n == 1:
		return "1 " + what
	}
	return fmt.Sprintf("%.0f %ss", *n, what)
}

func (p printer) changes(list []Change) {
	stories := storiesOf(list)
	p.title(fmt.Sprintf("Changes (%d)", len(stories)))
	if len(stories) == 0 {
		p.line("  none")
	}
	if !p.how.All && len(stories) > changesShown {
		defer p.line("  … and %d older; --all shows them", len(stories)-changesShown)
		stories = stories[:changesShown]
	}
	for _, s := range stories {
		p.line("  %s %s: %s", p.hour(s.at), s.where, s.text)
	}
}

func (p printer) standing(list []Standing) {
	if len(list) == 0 {
		return
	}
	p.title("Alarms active or waiting for a person, oldest first")
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
		until := "for another " + alarm.Span(time.Duration(s.Left*float64(time.Second)))
		if s.Until != nil {
			until = "until " + p.when(*s.Until)
		}
		p.line("  %s, %s by %s %s", named(s.Pump, s.Alarm), spaced(s.How), s.By, until)
	}
}

func (p printer) due(list []Due) {
	p.title("Due within 7 days")
	if len(list) == 0 {
		p.line("  nothing")
	}
	for _, d := range list {
		at := ""
		switch {
		case d.At != nil:
			at = ", " + p.when(*d.At)
		case d.Since != nil:
			at = " since " + p.when(*d.Since)
		case d.Used < 1:
			at = ", date not known"
		}
		p.line("  %s %s: %s%s, %.0f %% used", d.Tag, d.Title, spaced(d.Status), at, service.Percent(d.Used))
	}
}

func (p printer) performance(a *Performance) {
	p.title("The alarms themselves")
	p.line("  %s, %s; %s, %d at night, %d escalated", plural(a.Alarms, "alarm"), plural(a.Advisories, "advisory"), plural(a.Calls, "call"), a.NightCalls, a.Escalated)
	rate := "rate not known (it takes 7 days)"
	if a.PerPumpMonth != nil {
		rate = fmt.Sprintf("%.1f a pump and month", *a.PerPumpMonth)
	}
	p.line("  %s, target 1; at night target 1 a pump and year", rate)
	p.line("  active %d, stale %d, not acknowledged %d, chattering %d, floods %d", a.Standing, a.Stale, a.Unseen, a.Chattering, a.Floods)
	for _, f := range a.Frequent {
		p.line("  %d× %s", f.Count, named(f.Pump, f.Alarm))
	}
}

func plural(n int, word string) string {
	switch {
	case n == 1:
		return "1 " + word
	case strings.HasSuffix(word, "y"):
		word = word[:len(word)-1] + "ie"
	}
	return fmt.Sprintf("%d %ss", n, word)
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
