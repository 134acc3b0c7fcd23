package service_test

import (
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
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
	if diff := cmp.Diff(d, got, cmpopts.IgnoreUnexported(service.Duty{})); diff != "" {
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

// daily steps a duty once a day at noon, as a pump that runs 12 h of each.
type daily struct {
	d      service.Duty
	now    drivers.Instant
	totals service.Totals
}

func newDaily(days int) *daily {
	y := &daily{now: drivers.Instant{Wall: spring.Add(12 * time.Hour), Boot: "a", SinceBoot: time.Hour, Synchronized: true}}
	y.live(days)
	return y
}

func (y *daily) live(days int) {
	for range days {
		y.d.Step(y.now, &y.totals)
		y.pass(24 * time.Hour)
		y.totals.RunTime += 12 * time.Hour
	}
}

func (y *daily) pass(d time.Duration) {
	y.now.Wall, y.now.SinceBoot = y.now.Wall.Add(d), y.now.SinceBoot+d
}

// stands wants the duty to be that of a pump whose clock was never wrong.
func (y *daily) stands(t *testing.T, what string, days int) {
	t.Helper()
	want := int64(len(newDaily(days).d.Days))
	if got := int64(len(y.d.Days)); got != want || y.d.Today != newDaily(days).d.Today {
		t.Errorf("%s: %d days up to %d, want %d up to %d", what, got, y.d.Today, want, newDaily(days).d.Today)
	}
}

// GPS counts weeks in ten bits: 1024 weeks are 19.6 years.
const weekRollover = 1024 * 7 * 24 * time.Hour

func TestAWrongDateForASecondLeavesTheDutyAlone(t *testing.T) {
	for _, wrong := range []time.Duration{weekRollover, -weekRollover, 100 * 24 * time.Hour, -100 * 24 * time.Hour} {
		y := newDaily(40)
		y.now.Wall = y.now.Wall.Add(wrong)
		y.d.Step(y.now, &y.totals)
		y.now.Wall = y.now.Wall.Add(-wrong)
		y.live(20)
		y.stands(t, wrong.String(), 60)
	}
}

func TestAWrongDateThatWasBelievedIsGivenUpAgain(t *testing.T) {
	y := newDaily(40)
	const wrong = 100 * 24 * time.Hour
	y.now.Wall = y.now.Wall.Add(wrong)
	for range 3 {
		y.d.Step(y.now, &y.totals)
		y.pass(time.Hour)
	}
	y.now.Wall = y.now.Wall.Add(-wrong)
	y.live(20)
	if got, right := y.d.Today, newDaily(60).d.Today; got != right {
		t.Fatalf("the open day is %d, want %d", got, right)
	}
	if n := len(y.d.Days); n < 57 || n > 59 {
		t.Errorf("%d days, want the 40 from before and those since", n)
	}
}

// A meter tells of 700 h late: no day has more than 24 h, in memory or written.
func TestNoDayHasMoreThanItCanHold(t *testing.T) {
	y := newDaily(40)
	then := y.now.Wall.Add(-38 * 24 * time.Hour)
	y.totals.RunTime += 300 * time.Hour
	y.live(2)
	sum := time.Duration(0)
	for _, day := range y.d.Days {
		if sum += day.Run; day.Run > 24*time.Hour {
			t.Errorf("a day of %v", day.Run)
		}
	}
	if want := y.d.Dawn.RunTime; sum != want {
		t.Errorf("the days sum up to %v of %v", sum, want)
	}
	text, _ := y.d.MarshalText()
	var written service.Duty
	if err := written.UnmarshalText(text); err != nil {
		t.Fatal(err)
	}
	now, seen := y.d.At(then, y.now, &y.totals)
	again, _ := written.At(then, y.now, &y.totals)
	if !seen || now != again {
		t.Errorf("%v h then; as written %v h", now.RunTime.Hours(), again.RunTime.Hours())
	}
}
