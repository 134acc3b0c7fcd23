package alarm_test

import (
	"regexp"
	"testing"
	"unicode/utf8"

	"pumpside/rules/alarm"
)

// What a phone shows without being touched carries the state, what it means for
// the circulation and the time there is, also at a site and pump of long names
// and in a message that comes again.
func TestEveryHeadlineKeepsStateConsequenceAndTime(t *testing.T) {
	var (
		within  = regexp.MustCompile(`\b(Act (in|within) \d|Act NOW|\d+ h at most)`)
		state   = regexp.MustCompile(`(?i)\b(running|stopped|pump (state )?unknown)\b`)
		lost    = regexp.MustCompile(`\b(LOST|SHORT)\b`) // of circulation: with pumps to be stopped named there may be no room for more
		standby = regexp.MustCompile(`(?i)\bstandby\b`)
		gas     = regexp.MustCompile(`\bgas (on|off|unknown|flowing)\b|\bno gas flowing\b`)
	)
	long := ridge
	long.Name, long.Pump, long.Tag, long.Group = "Northern Ridge Gathering Station 14", "GP-1402-A", "GP-1402-A", "north circulation"
	for _, names := range []alarm.Site{ridge, long} {
		for _, kind := range []alarm.Kind{alarm.Raised, alarm.Worsened, alarm.Reminded, alarm.Unshelved, alarm.Escalated} {
			for _, e := range everyEvent() {
				if kind == alarm.Escalated && e.Class != alarm.Alarm {
					continue
				}
				e.Kind = kind
				e.Unanswered, e.Escalation = e.TimeToRespond/2, 1
				site := siteFor(&e)
				site.Name, site.Group = names.Name, names.Group
				if site.Pump != "" {
					site.Pump, site.Tag = names.Pump, names.Tag
				}
				text, _ := alarm.TextOf(e.Text)
				got := alarm.Render(e, site).Headline
				lacks := func(what string, pattern *regexp.Regexp, wanted bool) {
					if wanted && !pattern.MatchString(got) {
						t.Errorf("%s, %v: no %s in %s", e.Alarm, kind, what, got)
					}
				}
				if utf8.RuneCountInString(got) > 120 {
					t.Errorf("%s, %v: too long: %s", e.Alarm, kind, got)
				}
				lacks("time", within, true)
				lacks("state", state, e.Class == alarm.Alarm && site.Pump != "")
				circulation := e.Class == alarm.Alarm && text.Circulation && e.Text != "circulation_unseen" // which says that nobody knows
				if site.Pump == "" && lost.MatchString(got) {
					circulation = false
				}
				lacks("standby", standby, circulation)
				lacks("gas", gas, circulation)
			}
		}
	}
}
