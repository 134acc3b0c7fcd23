package alarm_test

import (
	"regexp"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"pumpside/drivers"
	"pumpside/rules/alarm"
)

// standbys are the ways in which a standby can stand.
var standbys = []string{"", "unknown", "none", "running", "available", "not_available"}

// everySentence gives all the catalogue can say, by where it stands.
func everySentence() map[string]string {
	all := map[string]string{}
	for key, t := range alarm.Catalogue {
		all[key+" title"], all[key+" headline"] = t.Title, t.Headline
		all[key+" cause"], all[key+" consequence"], all[key+" not known"] = t.Cause, t.Consequence, t.NotKnown
		for i, a := range t.Actions {
			all[key+" action "+string(rune('1'+i))] = a.Text
		}
		for _, standby := range standbys {
			for i, a := range alarm.Render(alarm.Event{Kind: alarm.Raised, Text: key, Class: alarm.Alarm, Standby: standby}, ridge).Actions {
				if a.Hands != alarm.Before {
					all[key+" action "+string(rune('1'+i))+" with the standby "+standby] = a.Text
				}
			}
		}
		all[key+" headline of a call for pumps too"], all[key+" cause in a call for pumps too"] = t.Speech.Headline, t.Speech.Cause
		for i, p := range t.Parts {
			all[key+" part "+string(rune('1'+i))] = p
		}
	}
	for _, standby := range standbys {
		for _, e := range spokenFor([]alarm.Event{{Kind: alarm.Raised, Text: "circulation_lost", Class: alarm.Alarm}}) {
			e.Standby = standby
			for i, a := range alarm.Render(e, ridge).Actions {
				if a.Hands != alarm.Before {
					all[e.Alarm+" action "+string(rune('1'+i))+" with the standby "+standby] = a.Text
				}
			}
		}
	}
	return all
}

// never are the instructions that have hurt people or pumps. A pattern that
// has an unless may be printed in a sentence that also says that.
var never = []struct {
	name, pattern, unless string
}{
	{"close or throttle the discharge to see whether it makes pressure", `(clos|throttl|shut|pinch|dead.?head)\w*[^.]*discharge|discharge[^.]*(clos|throttl|shut|pinch|dead.?head)`, ""},
	{"close anything to test the pump", `\b(clos|throttl|pinch)(e|es|ed|ing)?\b[^.]*(see|test|try|make)`, ""},
	{"loosen a cap, plug or bleed screw", `\b(loosen|slacken|undo|unscrew|crack|back off)`, ""},
	{"bleed at a plug or screw", `\bbleed`, ""},
	{"adjust, block or isolate a relief valve", `\b(adjust|block|isolat|gag|plug|screw|shut|close|set|raise)\w*[^.]*relief|\bbypass\w* the relief`, ""},
	{"touch a relief valve's setting", `relief[^.]*\b(adjust|block|isolat|gag|screw|setting|shut|close)`, ""},
	{"feel caps by hand", `\b(feel|touch|hand on|palm|by hand)\b`, `without touching|BEFORE TOUCHING|hotter to touch`},
	{"swap motor leads", `\b(swap|exchang|revers|chang|cross)\w*[^.]*\b(leads?|phases?|wires?)\b`, `isolated[^.]*authorised electrician[^.]*maker`},
	{"charge a dampener", `\b(charg|fill|pressuri)\w*[^.]*dampener|dampener[^.]*\bcharg`, `dry nitrogen[^.]*zero pressure`},
	{"reset a drive", `\breset\w*[^.]*\bdrive|\bdrive[^.]*\breset`, ""},
	{"clear a fault from afar", `\b(remotely|from the desk)\b`, ""},
	{"use oxygen or air", `\b(oxygen|compressed air|plant air)\b`, ""},
}

func TestCatalogueNeverTellsPeopleToDoHarm(t *testing.T) {
	for _, n := range never {
		pattern := regexp.MustCompile("(?i)" + n.pattern)
		for where, text := range everySentence() {
			for sentence := range strings.SplitSeq(text, ". ") {
				if pattern.MatchString(sentence) && (n.unless == "" || !regexp.MustCompile("(?i)"+n.unless).MatchString(sentence)) {
					t.Errorf("%s: %q tells people to %s", where, sentence, n.name)
				}
			}
		}
	}
}

// A search that finds nothing must be able to find something.
func TestHarmfulSentencesAreFound(t *testing.T) {
	for _, bad := range []string{
		"Close the discharge valve for a moment to see whether it makes pressure.",
		"Throttle the discharge.",
		"Loosen the cap of head 2 and watch for gas.",
		"Open the bleed screw while it runs.",
		"Adjust the relief valve.",
		"Isolate the relief valve and start again.",
		"Feel each cap by hand: the warm one leaks.",
		"Swap two motor leads.",
		"Charge the dampener with air.",
		"Reset the drive until it stays on.",
		"Acknowledge the fault remotely.",
	} {
		if !slices.ContainsFunc(never, func(n struct{ name, pattern, unless string }) bool {
			return regexp.MustCompile("(?i)"+n.pattern).MatchString(bad) && (n.unless == "" || !regexp.MustCompile("(?i)"+n.unless).MatchString(bad))
		}) {
			t.Errorf("not found: %s", bad)
		}
	}
}

// After a diaphragm has failed there is no date to run on to.
func TestDiaphragmTextsNameNoDateToRunTo(t *testing.T) {
	pattern := regexp.MustCompile(`(?i)\b(until|run on|keep running|continue|next (visit|week|shutdown|planned)|plan (it|the|a)|schedul\w*|days? left|monitor)\b`)
	for where, text := range everySentence() {
		if strings.HasPrefix(where, "diaphragm") && pattern.MatchString(text) {
			t.Errorf("%s: %q", where, text)
		}
	}
}

// handsOn are the verbs of work that opens or touches equipment.
var handsOn = regexp.MustCompile(`(?i)^(have an authorised electrician|have motor|check the (suction valves|transmitter|converter|oil level)|check supply and wiring|clean|inspect|where only hand valves|with the reboiler off|drain|renew|replace|remove|open|fit|fill|top up|prime|vent|flush|overhaul|tighten|take a(n)? |do the task|put back|find where|look at (what|the old)|record|renew both|dismantle|measure)`)

func TestActionsAreMarkedHandsOnOrOff(t *testing.T) {
	work := regexp.MustCompile(`(?i)^(clean|inspect|where only hand valves|with the reboiler off|drain|renew|replace|remove|open|fit|fill|top up|prime|vent|flush|overhaul|tighten|dismantle|check the suction)\b`)
	for key, text := range alarm.Catalogue {
		for _, a := range text.Actions {
			switch {
			case a.Hands == alarm.On && !handsOn.MatchString(a.Text):
				t.Errorf("%s: %q is marked hands-on, but no verb of work begins it", key, a.Text)
			case a.Hands == alarm.Off && work.MatchString(a.Text):
				t.Errorf("%s: %q is work on equipment, but marked hands-off", key, a.Text)
			case a.Hands == alarm.Before:
				t.Errorf("%s: the safety text is put in when rendering, not written by hand", key)
			}
		}
	}
}

const safetyText = "Advisory only, not a safety function. The pump may start by itself. Stop, isolate from the process on every side, lock out and tag out, wait the drive's discharge time, bleed to zero and verify at every head and both sides of the line check valve (valves trap pressure; a dampener holds its own gas; gas can flow back), let hot glycol cool, test for gas, wear the site's PPE, follow permit and area classification. Authorised persons only; local codes, site procedure and the maker's manual govern."

func TestSafetyTextStandsDirectlyBeforeTheFirstHandsOnAction(t *testing.T) {
	for _, e := range everyEvent() {
		m := alarm.Render(e, ridge)
		first := slices.IndexFunc(m.Actions, func(a alarm.Action) bool { return a.Hands == alarm.On })
		if first < 0 {
			if m.Safety != "" {
				t.Errorf("%s: safety text without anything to touch", e.Alarm)
			}
			continue
		}
		if first == 0 || m.Actions[first-1] != (alarm.Action{Text: safetyText, Hands: alarm.Before}) || m.Safety != safetyText {
			t.Errorf("%s: before the first hands-on action stands %+v", e.Alarm, m.Actions[max(first-1, 0)])
		}
		for i, a := range m.Actions {
			if a.Hands == alarm.Off && i > first {
				t.Errorf("%s: hands-off action %q comes after a hands-on one", e.Alarm, a.Text)
			}
		}
		if i, j := strings.Index(m.String(), safetyText), strings.Index(m.String(), m.Actions[first].Text); i < 0 || i > j {
			t.Errorf("%s: on the phone the safety text does not come before %q", e.Alarm, m.Actions[first].Text)
		}
	}
}

func TestEveryAlertIsComplete(t *testing.T) {
	called := map[string]bool{}
	for _, e := range everyEvent() {
		called[e.Text] = true
		m := alarm.Render(e, ridge)
		if n := utf8.RuneCountInString(m.Headline); n > alarm.HeadlineMost {
			t.Errorf("%s: headline of %d characters: %s", e.Alarm, n, m.Headline)
		}
		if m.Cause == "" || m.Consequence == "" || len(m.Actions) == 0 || m.TimeToRespond == "" {
			t.Errorf("%s: something is missing: %+v", e.Alarm, m)
		}
		for _, text := range []string{m.Headline, m.Cause, m.Consequence} {
			if strings.ContainsAny(text, "{}[") && !strings.HasPrefix(text, "[") || strings.Contains(text, "  ") || strings.Contains(text, "..") || strings.Contains(text, " ,") {
				t.Errorf("%s: %q is not clean", e.Alarm, text)
			}
		}
	}
	for key, text := range alarm.Catalogue {
		if text.Title == "" || text.Headline == "" || strings.HasSuffix(text.Headline, ".") {
			t.Errorf("%s: title %q, headline %q", key, text.Title, text.Headline)
		}
		if text.Respond > 0 && !called[key] && key != alarm.FloodText {
			t.Errorf("%s has a time to respond, but no definition uses it", key)
		}
		for _, sentence := range []string{text.Cause, text.Consequence, text.NotKnown} {
			if sentence != "" && !strings.HasSuffix(sentence, ".") && !strings.HasSuffix(sentence, "}") {
				t.Errorf("%s: %q does not end", key, sentence)
			}
		}
	}
}

// Only these facts exist, so that no sentence waits for another.
func TestCatalogueUsesKnownTokens(t *testing.T) {
	known := []string{"duration", "value", "limit", "signal", "subject", "fault", "reason", "explain", "cause", "count", "user", "lasted", "credited_run_time", "reckoned_strokes", "meter_before", "meter_after", "circulation_needed", "oil_added", "pumps_delivering", "pumps_required", "take_over", "change_over", "restore", "dry"}
	token := regexp.MustCompile(`\{([a-z_]+)(\|[^}]*)?\}`)
	for where, text := range everySentence() {
		for _, found := range token.FindAllStringSubmatch(text, -1) {
			if !slices.Contains(known, found[1]) {
				t.Errorf("%s: unknown token %s", where, found[0])
			}
		}
		if strings.Count(text, "[") != strings.Count(text, "]") || strings.Count(text, "{") != strings.Count(text, "}") {
			t.Errorf("%s: %q has an open bracket", where, text)
		}
	}
}

func TestEveryDefinitionIsValid(t *testing.T) {
	var defs []alarm.Definition
	defs = append(defs, alarm.PumpAlarms(alarm.PumpSettings{})...)
	defs = append(defs, alarm.GroupAlarms(nil)...)
	defs = append(defs, alarm.SiteAlarms(nil)...)
	defs = append(defs, alarm.ServiceAlarms(alarm.RunInOil)...)
	defs = append(defs, alarm.ServiceAlarms("check valves")...)
	defs = append(defs, alarm.ServiceAsked("check valves"))
	defs = append(defs, alarm.About("device_silent", "drive 1"), alarm.About("bus_down", "rs485"), alarm.SignalBad(drivers.GlycolFlow, ""))
	if err := alarm.ValidateAll(defs); err != nil {
		t.Fatal(err)
	}
	for i := range defs {
		d := &defs[i]
		switch {
		case d.Class == alarm.Advisory && d.Notify == alarm.Now:
			t.Errorf("%s: an advisory calls nobody at night", d.Name)
		case d.Class == alarm.Alarm && d.Notify != alarm.Now:
			t.Errorf("%s: someone must act in time, but nobody is told now", d.Name)
		}
	}
}

func TestPumpInAGroupLeavesTheNightToTheGroup(t *testing.T) {
	alone, grouped := alarm.PumpAlarms(alarm.PumpSettings{}), alarm.PumpAlarms(alarm.PumpSettings{InGroup: true})
	var waits []string
	for i := range alone {
		if alone[i].Notify != grouped[i].Notify {
			waits = append(waits, alone[i].Name)
		}
	}
	if want := []string{"drive_fault", "power_lost", "reverse_flow", "stopped_by_permissive", "stopped_longer_than_usual", "stopped_unexplained"}; !equal(waits, want) {
		t.Errorf("%v wait for the working day, want %v", waits, want)
	}
}

func TestDoubleDiaphragmMakesTheFirstLeakAnAdvisory(t *testing.T) {
	for _, double := range []bool{false, true} {
		defs := alarm.PumpAlarms(alarm.PumpSettings{DoubleDiaphragm: double})
		i := slices.IndexFunc(defs, func(d alarm.Definition) bool { return d.Name == "diaphragm_leak" })
		if d := defs[i]; (d.Class == alarm.Advisory) != double || !d.Latching || d.Priority != alarm.High {
			t.Errorf("double %v: %+v", double, d)
		}
	}
}
