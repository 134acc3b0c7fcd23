package service_test

import (
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"pumpside/drivers"
	"pumpside/rules/service"
)

// drawEntry is any sensible entry for triplex.
func drawEntry(t *rapid.T, made int) drivers.ServiceEntry {
	if made > 0 && rapid.IntRange(0, 5).Draw(t, "undo") == 0 {
		return drivers.ServiceEntry{Undoes: rapid.IntRange(1, made).Draw(t, "which")}
	}
	e := drivers.ServiceEntry{
		Task:         rapid.SampledFrom([]string{"oil", "valves", "diaphragms"}).Draw(t, "task"),
		Action:       rapid.SampledFrom([]string{"", service.Replaced, service.Inspected, service.Cleaned}).Draw(t, "action"),
		Cylinder:     rapid.IntRange(0, 3).Draw(t, "cylinder"),
		HydraulicEnd: rapid.Bool().Draw(t, "hydraulic end"),
	}
	if ago := rapid.IntRange(0, 9*24).Draw(t, "hours ago"); ago > 0 {
		e.At = watched.Wall.Add(-time.Duration(ago) * time.Hour)
	}
	return e
}

// places is what the ledger comes down to, without the counters.
func places(p *service.Pump) (list [][]service.Done) {
	for _, s := range p.States {
		list = append(list, slices.Clone(s.Places))
	}
	return list
}

// ledgered is triplex after up to 30 entries, some of them refused.
func ledgered(t *rapid.T) *service.Pump {
	p := triplex()
	for range rapid.IntRange(0, 30).Draw(t, "entries") {
		r, err := p.Accept(drawEntry(t, len(p.Ledger)), "d.moss", watched)
		if err != nil {
			continue
		}
		p.Ledger = append(p.Ledger, r)
		p.Totals.RunTime += time.Duration(rapid.IntRange(0, 100).Draw(t, "hours")) * time.Hour
		service.Fold(p.Tasks, p.States, p.Ledger)
	}
	return p
}

func TestFoldingAgainGivesTheSame(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := ledgered(t)
		before := places(p)
		for i := range p.States {
			p.States[i].Places = nil
		}
		service.Fold(p.Tasks, p.States, p.Ledger)
		if d := cmp.Diff(before, places(p)); d != "" {
			t.Fatalf("folded again (-before +after):\n%s", d)
		}
	})
}

func TestAnUndoneRecordIsAsIfItHadNeverBeen(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := ledgered(t)
		before := places(p)
		r, err := p.Accept(drivers.ServiceEntry{Task: "valves"}, "d.moss", watched)
		if err != nil {
			t.Fatal(err)
		}
		p.Ledger = append(p.Ledger, r)
		undo, err := p.Accept(drivers.ServiceEntry{Undoes: r.Number}, "d.moss", watched)
		if err != nil {
			t.Fatal(err)
		}
		p.Ledger = append(p.Ledger, undo)
		service.Fold(p.Tasks, p.States, p.Ledger)
		if d := cmp.Diff(before, places(p)); d != "" {
			t.Fatalf("after an undo (-before +after):\n%s", d)
		}
	})
}

func TestTheOrderOfEntryDoesNotMatter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := ledgered(t)
		before := places(p)
		p.Ledger = rapid.Permutation(p.Ledger).Draw(t, "order")
		service.Fold(p.Tasks, p.States, p.Ledger)
		if d := cmp.Diff(before, places(p)); d != "" {
			t.Fatalf("in another order (-before +after):\n%s", d)
		}
	})
}

func TestDutySurvivesBeingWritten(t *testing.T) {
	d := *triplex().Duty
	text, err := d.MarshalText()
	if err != nil {
		t.Fatal(err)
	}
	var got service.Duty
	if err := got.UnmarshalText(text); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(d, got); diff != "" {
		t.Errorf("duty (-want +got):\n%s", diff)
	}
	if len(got.Days) != 10 || got.Days[3].Run != 20*time.Hour {
		t.Errorf("days %v", got.Days)
	}
}

func FuzzDutyNeverPanics(f *testing.F) {
	text, _ := triplex().Duty.MarshalText()
	f.Add(text)
	f.Add([]byte("AAAA"))
	f.Fuzz(func(t *testing.T, text []byte) {
		var d service.Duty
		if d.UnmarshalText(text) != nil {
			return
		}
		totals := service.Totals{RunTime: time.Hour}
		d.At(spring, watched, &totals)
		d.Step(watched, &totals)
		if len(d.Days) > 0 && d.Days[len(d.Days)-1].Run < 0 {
			t.Errorf("a day of %v", d.Days[len(d.Days)-1].Run)
		}
	})
}
