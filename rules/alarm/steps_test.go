package alarm_test

import (
	"strings"
	"testing"
	"time"

	"pumpside/drivers/quantity"
	"pumpside/rules/alarm"
)

// A step that the headline above it contradicts is not followed.
func TestTheFirstStepGoesWithTheStandbyInTheHeadline(t *testing.T) {
	tests := []struct{ text, standby, first string }{
		{"drive_fault", "available", "Start the standby pump by site procedure."},
		{"drive_fault", "running", "See on the screen that the standby pump, which runs already, delivers."},
		{"stopped_unexplained", "running", "See on the screen that the standby pump, which runs already, delivers."},
		{"no_flow", "none", "There is no standby: prepare to lower or divert the gas and to turn down the reboiler, by site procedure."},
		{"no_flow", "", "Start the standby pump, if one is ready, by site procedure; if none is, prepare to lower or divert the gas."},
		{"oil_level_low", "available", "Start the standby pump by site procedure, then stop this one."},
		{"oil_level_low", "not available", "No standby is ready: prepare to cut back the gas, and stop this pump as soon as operations can."},
		{"diaphragm_leak", "running", "The standby pump runs: see that it delivers, then stop this one by site procedure."},
		{"circulation_lost", "available", "Start the standby pump by site procedure and watch for flow within two minutes."},
		{"circulation_short", "none", "When it is certain that nobody is at GP-1, and its own alarm allows it: start it again by site procedure, and watch for flow within two minutes. There is no standby."},
	}
	for _, tt := range tests {
		e := alarm.Event{Kind: alarm.Raised, Text: tt.text, Class: alarm.Alarm, Standby: tt.standby, Subject: "GP-1"}
		if got := alarm.Render(e, ridge).Actions[0].Text; got != tt.first {
			t.Errorf("%s, standby %q\n got %s\nwant %s", tt.text, tt.standby, got, tt.first)
		}
	}
}

func TestOnlyAStandbyThatIsReadyIsToBeStarted(t *testing.T) {
	for key := range alarm.Catalogue {
		for _, standby := range []string{"none", "not_available", "running"} {
			e := alarm.Event{Kind: alarm.Raised, Text: key, Class: alarm.Alarm, Standby: standby, TimeToRespond: time.Hour}
			for _, a := range alarm.Render(e, ridge).Actions {
				if strings.HasPrefix(a.Text, "Start the standby") {
					t.Errorf("%s, standby %s: %s", key, standby, a.Text)
				}
			}
		}
	}
}

func TestADiaphragmAsksForAStopAndNamesNoTimeToRunOn(t *testing.T) {
	e := alarm.Event{Kind: alarm.Raised, Text: "diaphragm_leak", Class: alarm.Alarm, Priority: alarm.High, TimeToRespond: 4 * time.Hour, PumpRunning: alarm.Yes, Standby: "available", GasFlowing: alarm.Yes}
	const want = "[HIGH] A, B: DIAPHRAGM FAILED. RUNNING, standby OK, gas on. Stop it as soon as operations can, 4 h at most."
	if got := alarm.Render(e, alarm.Site{Name: "A", Pump: "B"}).Headline; got != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}
}

func TestWhatIsDueSoonNeverReadsAHundredPercent(t *testing.T) {
	e := alarm.Event{Kind: alarm.Raised, Text: "run_in_oil_due_soon", Class: alarm.Advisory, Value: &alarm.Quantity{Value: 0.9996, Dimension: quantity.Share}}
	const want = "[ADVISORY] A, B: run-in oil change due soon, 99 % of the run-in used."
	if got := alarm.Render(e, alarm.Site{Name: "A", Pump: "B"}).Headline; got != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}
}

func TestTheAgentsOwnBeginIsNotCalledAStartOfThePump(t *testing.T) {
	e := alarm.Event{Kind: alarm.Suppressed, Text: "no_flow", SuppressedBy: alarm.StartUp}
	const want = "[HELD BACK] A, B: no glycol flow while pump or agent has just started."
	if got := alarm.Render(e, alarm.Site{Name: "A", Pump: "B"}).Headline; got != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}
}
