package page

import (
	"bytes"
	"compress/gzip"
	"io"
	"os"
	"strings"
	"testing"
	"time"

	"pumpside/drivers"
	"pumpside/rules"
	"pumpside/rules/alarm"
	"pumpside/rules/pump"
	"pumpside/rules/service"
)

func TestPlacesAreNamedWhereTheyDiffer(t *testing.T) {
	place := func(cylinder int, used float64) rules.PlaceView {
		return rules.PlaceView{Position: pump.Position{Cylinder: cylinder, Side: pump.Suction}, Life: service.Life{Used: used}}
	}
	for _, tt := range []struct {
		name   string
		places []rules.PlaceView
		want   string
	}{
		{"none is counted apart", nil, ""},
		{"there is only one", []rules.PlaceView{place(1, 0.4)}, ""},
		{"all are used alike", []rules.PlaceView{place(1, 0.401), place(2, 0.4), place(3, 0.399)}, "all 3 places alike"},
		{"one was renewed", []rules.PlaceView{place(1, 0.4), place(2, 0.02), place(3, 0.4)}, "cylinder 1 suction, cylinder 3 suction 40 %, others from 2 %"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if got := placesWords(tt.places); got != tt.want {
				t.Errorf("got %q, want %q", got, tt.want)
			}
		})
	}
}

func TestAPumpThatIsNotReadIsNotWell(t *testing.T) {
	good, bad := rules.SignalView{Quality: drivers.Good}, rules.SignalView{Quality: drivers.Bad}
	for _, tt := range []struct {
		signals []rules.SignalView
		want    string
	}{
		{nil, ""},
		{[]rules.SignalView{good, good}, ""},
		{[]rules.SignalView{good, bad, bad}, "2 of 3 signals not read"},
		{[]rules.SignalView{bad}, "nothing is read"},
	} {
		if got := blind(&rules.Snapshot{Signals: tt.signals}); got != tt.want {
			t.Errorf("%d signals: %q, want %q", len(tt.signals), got, tt.want)
		}
	}
}

func TestDevicesAndBusesKeepTheirIds(t *testing.T) {
	for _, tt := range []struct{ title, pump, subject, want string }{
		{"", "", "gp-7-module", "gp-7-module"},
		{"", "gp-1", "discharge_pressure", "discharge pressure"},
		{"oil change", "gp-1", "oil", "oil change"},
		{"", "", "", ""},
	} {
		if got := subjectOf(tt.title, tt.pump, &alarm.Event{Subject: tt.subject}); got != tt.want {
			t.Errorf("%+v: %q", tt, got)
		}
	}
}

func TestWhatIsDueIsAlwaysShown(t *testing.T) {
	rows := make([]taskRow, 20)
	if d := dueOf(rows); len(d.First) != firstTasks || len(d.Rest) != 12 {
		t.Errorf("%d and %d", len(d.First), len(d.Rest))
	}
	for i := range 11 {
		rows[i].Late = true
	}
	if d := dueOf(rows); len(d.First) != 11 {
		t.Errorf("%d of 11 that are due are shown", len(d.First))
	}
	if d := dueOf(rows[:3]); len(d.First) != 3 || len(d.Rest) != 0 {
		t.Errorf("few: %d and %d", len(d.First), len(d.Rest))
	}
}

func TestBeatsInWords(t *testing.T) {
	d := &Device{Routine: 250 * time.Millisecond, Slow: 30 * time.Second}
	if got, want := beatWords(d), "read every 250 ms, slow points every 30 s"; got != want {
		t.Errorf("got %q", got)
	}
	d.FastFor, d.FastEvery = 20*time.Second, 5*time.Minute
	if got, want := beatWords(d), "read every 250 ms, slow points every 30 s, fast points for 20 s every 5 min while the pump runs steadily"; got != want {
		t.Errorf("got %q", got)
	}
}

func TestTheDevelopersPageSaysWhatEachScreenAnswers(t *testing.T) {
	text, err := os.ReadFile("../../DEVELOPERS.md")
	if err != nil {
		t.Fatal(err)
	}
	for path := range screens {
		if row := "\n| `" + strings.TrimSuffix(path, "{$}") + "` | "; !strings.Contains(string(text), row) {
			t.Errorf("there is no row that begins %q", row)
		}
	}
}

func TestPumpsThatSeeTheSameAreToldTogether(t *testing.T) {
	blind, seeing := []Gap{{Wanted: "index_angle"}}, []Sight{{Failure: "wear", Seen: true}}
	one := func(tag string, gaps []Gap) Pump { return Pump{Plate: &Plate{Tag: tag, Gaps: gaps, Sights: seeing}} }
	got := sameViews([]Pump{one("GP-1", blind), one("GP-2", nil), one("GP-3", blind)})
	if len(got) != 2 || got[0].Tags != "GP-1, GP-3" || got[1].Tags != "GP-2" || len(got[0].Gaps) != 1 || len(got[1].Sights) != 1 {
		t.Errorf("%+v", got)
	}
}

func TestEveryAssetComesPlainToo(t *testing.T) {
	for name, a := range assets {
		r, err := gzip.NewReader(bytes.NewReader(a.packed))
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		text, err := io.ReadAll(r)
		if err != nil || !bytes.Equal(text, a.open()) || len(text) == 0 || a.kind == "" {
			t.Errorf("%s, %q: %v, %d bytes packed, %d plain", name, a.kind, err, len(text), len(a.open()))
		}
	}
	if a := assets["uPlot.iife.min.js"]; !bytes.HasPrefix(a.open(), []byte("/*! https://github.com/leeoniya/uPlot")) {
		t.Errorf("uPlot begins %.60s", a.open())
	}
}

func TestWhereToGoFirst(t *testing.T) {
	lost := alarmLine{Title: "glycol circulation lost", urgency: 6, calls: true}
	silent := alarmLine{Title: "device silent", urgency: 8}
	cleared := alarmLine{Title: "glycol circulation lost", urgency: 1, calls: true, gone: true}
	faulty := siteLine{ID: "gp-1", Wrong: &alarmLine{Title: "drive fault", urgency: 10, calls: true}, need: 10 * needsLook}
	due := siteLine{ID: "gp-1", need: needsPlan * int(service.Due)}
	was := siteLine{ID: "gp-1", Wrong: &cleared}
	for _, tt := range []struct {
		name      string
		pump      siteLine
		own       []alarmLine
		text      string
		own1st    string
		pumpFirst bool
	}{
		{"circulation is lost and a service is due", due, []alarmLine{lost}, "The site itself and the pump need a person", "glycol circulation lost", false},
		{"circulation is lost and somebody knows, a pump has a fault", faulty, []alarmLine{lost}, "The site itself and the pump need a person", "glycol circulation lost", false},
		{"the loss comes before a device that nobody has acknowledged", due, []alarmLine{silent, lost}, "The site itself and the pump need a person", "glycol circulation lost", false},
		{"a device is silent, a pump has a fault", faulty, []alarmLine{silent}, "The pump needs a person", "", true},
		{"only the site itself", siteLine{}, []alarmLine{silent}, "No pump needs a person. The site itself does", "device silent", false},
		{"all has cleared", was, []alarmLine{cleared}, "Nothing calls for a person; what has cleared at the site itself is not acknowledged", "", false},
		{"nothing", siteLine{}, nil, "Nothing calls for a person", "", false},
	} {
		t.Run(tt.name, func(t *testing.T) {
			got := verdict([]siteLine{tt.pump}, tt.own)
			first := ""
			if got.Own != nil {
				first = got.Own.Title
			}
			if got.Text != tt.text || first != tt.own1st || (got.Pump != nil) != tt.pumpFirst {
				t.Errorf("got %q, first of the site %q, a pump first %v", got.Text, first, got.Pump != nil)
			}
		})
	}
}

func TestStepsAreNumberedAsInATerminal(t *testing.T) {
	got := stepsOf([]alarm.Action{{Text: "look", Hands: alarm.Off}, {Text: "safety", Hands: alarm.Before}, {Text: "clean", Hands: alarm.On}})
	if len(got) != 3 || got[0] != (step{1, "look"}) || got[1] != (step{0, "safety"}) || got[2] != (step{2, "clean"}) {
		t.Errorf("steps %v", got)
	}
}

func TestWhatHasClearedIsToldAsCleared(t *testing.T) {
	v := &alarm.View{State: alarm.ReturnedUnacknowledged, Class: alarm.Alarm, Priority: alarm.High, Last: &alarm.Event{
		Kind: alarm.Cleared, Text: "drive_fault", Class: alarm.Alarm, Priority: alarm.High, Duration: 2 * time.Minute, TimeToRespond: 30 * time.Minute, PumpRunning: alarm.Yes, Quality: drivers.Good,
	}}
	m := alarm.Render(*v.Call(), alarm.Site{Name: "Ridge Site", Pump: "GP-1"})
	if want := "[CLEARED] Ridge Site, GP-1: drive fault, after 2 min."; m.Headline != want || len(m.Actions) > 0 || m.TimeToRespond != "" {
		t.Errorf("got %q with %d actions, want %q", m.Headline, len(m.Actions), want)
	}
	if urgency(v) != 1 || urgency(&alarm.View{State: alarm.Acknowledged, Class: alarm.Advisory}) <= 1 {
		t.Error("what has cleared comes after all that stands")
	}
}

func TestTooLittleGlycolIsNoStandstill(t *testing.T) {
	for _, tt := range []struct {
		moves      alarm.Known
		delivering int
		want       string
	}{
		{alarm.No, 0, "glycol does not circulate and is wanted"},
		{alarm.No, 1, "glycol circulates, but too few pumps deliver"},
		{alarm.Yes, 2, "glycol circulates"},
	} {
		got := groupWords("north", tt.moves, alarm.Yes, tt.delivering, 2)
		if got.Word != tt.want || got.Wrong != (tt.moves == alarm.No) {
			t.Errorf("%d deliver: %q, wrong %v, want %q", tt.delivering, got.Word, got.Wrong, tt.want)
		}
	}
}
