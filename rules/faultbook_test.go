package rules_test

import (
	"flag"
	"fmt"
	"math"
	"os"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"pumpside/rules"
	"pumpside/rules/alarm"
)

var (
	book     = flag.String("book", "short", "fault book: short, full (hours), or a number of runs a row")
	bookFor  = flag.Duration("bookfor", 0, "stop the fault book after that long, with as many runs of each row as there are")
	bookFrom = flag.Uint64("bookfrom", 0, "first seed of a fault book of a number of runs a row")
	bookFile = flag.String("bookfile", "", "write the fault book to this file as it grows")
)

// fresh is the first seed of the full book. Nothing was ever chosen by looking
// at runs from it on; the short book is what was looked at.
const fresh = 6_040_000

// A bookCase is one row of the fault book: a kind of run, repeated with seeds.
type bookCase struct {
	name string
	// quick and full are the numbers of runs.
	quick, full int
	run         func(t testing.TB, seed uint64) outcome // nil: the runs of the row above
	// good is what a run must be to count, and bar how many must; 0: printed
	// only. Every run counts unless asked says otherwise.
	good  func(outcome) bool
	asked func(outcome) bool
	bar   float64
}

// An outcome is how one run ended.
type outcome struct {
	found bool
	after time.Duration // since the fault began

	oneHead bool                 // what is wrong is a half-stroke of one head
	view    *rules.ConditionView // some minutes after it was found
	truth   alarm.Cause          // "" for none
	size    float64              // of the leak
	visits  []string             // advisories raised
	days    float64              // lived quietly
}

// probability is what was given to the true cause, with its cylinder where it
// has one, and its rank from 1.
func (o *outcome) probability() (p float64, rank int) {
	rank = len(o.view.Causes) + 1
	for i, c := range o.view.Causes {
		if c.Cause == o.truth.Cause && (c.Cylinder == 0 || c.Cylinder == o.truth.Cylinder) {
			return c.Probability, i + 1
		}
	}
	return 0, rank
}

// named is the half-stroke that was named with 70 %, if any.
func (o *outcome) named() (alarm.Cause, bool) {
	if len(o.view.Causes) == 0 {
		return alarm.Cause{}, false
	}
	c := o.view.Causes[0]
	return c, c.Probability >= 0.7 && strings.HasPrefix(c.Cause, "loss_in_") && c.Cylinder > 0
}

// TestFaultBook lives pumps through faults and prints what was found. A row
// fails when even the upper end of its Wilson interval lies below its bar.
func TestFaultBook(t *testing.T) {
	if testing.Short() {
		t.Skip("plays pumps for a minute")
	}
	list, began := cases(), time.Now()
	results := make([][]outcome, len(list))
	text := ""
	for _, to := range rounds() {
		for i := range list {
			results[i] = more(t, &list[i], results[i], to, began)
			if list[i].run == nil {
				results[i] = results[i-1]
			}
		}
		text = fmt.Sprintf("fault book, %s, %v:\n%s", *book, time.Since(began).Round(time.Second), table(list, results))
		if *bookFile != "" {
			if err := os.WriteFile(*bookFile, []byte(text), 0o600); err != nil {
				t.Fatal(err)
			}
		}
	}
	t.Log(text)
	for i, c := range list {
		if good, asked := count(&c, results[i]); asked > 0 {
			if _, high := wilson(good, asked); high < c.bar-1e-9 {
				t.Errorf("%s: %d of %d, at best %.1f %%, want %.0f %%", c.name, good, asked, 100*high, 100*c.bar)
			}
		}
	}
	if score, n := brier(list, results); n > 0 && score > 0.1 {
		t.Errorf("Brier score %.3f, want 0.10 at most", score)
	}
}

// rounds are the numbers of runs a row after which the book is written.
func rounds() (list []int) {
	const step, most = 3, 216
	if *book != "full" {
		return []int{most}
	}
	for n := step; n <= most; n += step {
		list = append(list, n)
	}
	return list
}

// more adds runs to a row until it has the number asked for, or to.
func more(t testing.TB, c *bookCase, have []outcome, to int, began time.Time) []outcome {
	n, first := c.quick, uint64(0)
	if some, err := strconv.Atoi(*book); err == nil {
		n, first = some, *bookFrom
	}
	if *book == "full" {
		n, first = c.full, fresh
	}
	n = min(n, to)
	late := *bookFor > 0 && time.Since(began) > *bookFor
	if c.run == nil || late || len(have) >= n {
		return have
	}
	return append(have, runs(t, first+uint64(len(have)), n-len(have), c.run)...)
}

func count(c *bookCase, list []outcome) (good, asked int) {
	for _, o := range list {
		if c.asked(o) {
			asked++
			if c.good(o) {
				good++
			}
		}
	}
	return good, asked
}

func table(list []bookCase, results [][]outcome) string {
	var out strings.Builder
	fmt.Fprintf(&out, "%-84s %9s %18s %8s %9s %7s %5s %s\n", "case", "good", "95 % interval", "bar", "median", "P(true)", "rank", "leak")
	for i := range list {
		c := &list[i]
		good, asked := count(c, results[i])
		if asked == 0 {
			continue
		}
		low, high := wilson(good, asked)
		p, rank := given(results[i])
		fmt.Fprintf(&out, "%-84s %4d/%-4d %7.1f–%5.1f %% %6.0f %% %9s %7.2f %5.1f %s\n", c.name, good, asked, 100*low, 100*high, 100*c.bar, medianTime(results[i]), p, rank, estimates(results[i]))
	}
	score, n := brier(list, results)
	fmt.Fprintf(&out, "Brier score of \"one head loses flow\" over %d runs found: %.3f\n", n, score)
	return out.String()
}

// estimates are the quartiles of the leak's estimate by its truth.
func estimates(list []outcome) string {
	var by []float64
	for _, o := range list {
		if o.found && o.oneHead && o.view.Leak.Known() {
			by = append(by, o.view.Leak.Middle/o.size)
		}
	}
	if len(by) == 0 {
		return ""
	}
	slices.Sort(by)
	return fmt.Sprintf("%.2f %.2f %.2f", by[len(by)/4], by[len(by)/2], by[len(by)*3/4])
}

// runs lives n seeds from first on, on all processors.
func runs(t testing.TB, first uint64, n int, run func(testing.TB, uint64) outcome) []outcome {
	list := make([]outcome, n)
	next := make(chan int)
	var wg sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for i := range next {
				list[i] = run(t, first+uint64(i))
			}
		})
	}
	for i := range n {
		next <- i
	}
	close(next)
	wg.Wait()
	return list
}

// wilson is the 95 % interval of a share (Wilson 1927).
func wilson(good, n int) (low, high float64) {
	if n == 0 {
		return 0, 1
	}
	const z = 1.959963984540054
	p, m := float64(good)/float64(n), float64(n)
	middle := (p + z*z/2/m) / (1 + z*z/m)
	half := z / (1 + z*z/m) * math.Sqrt(p*(1-p)/m+z*z/4/m/m)
	return middle - half, middle + half
}

func medianTime(list []outcome) string {
	var found []float64
	for _, o := range list {
		if o.found {
			found = append(found, o.after.Seconds())
		}
	}
	if len(found) == 0 {
		return "–"
	}
	return (time.Duration(medianOf(found)) * time.Second).String()
}

func medianOf(list []float64) float64 {
	best, least := 0.0, math.Inf(1)
	for _, x := range list { // least sum of distances
		sum := 0.0
		for _, y := range list {
			sum += math.Abs(x - y)
		}
		if sum < least {
			best, least = x, sum
		}
	}
	return best
}

// given is the mean probability and rank of the true cause where something was
// found and there is one.
func given(list []outcome) (p, rank float64) {
	n := 0.0
	for i := range list {
		if o := &list[i]; o.found && o.truth.Cause != "" && len(o.view.Causes) > 0 {
			q, r := o.probability()
			p += q
			rank += float64(r)
			n++
		}
	}
	return p / n, rank / n
}

// brier is the mean squared error of the probability that one head loses flow.
func brier(list []bookCase, results [][]outcome) (score float64, n int) {
	for i := range list {
		if list[i].run == nil {
			continue
		}
		for _, o := range results[i] {
			if !o.found || len(o.view.Causes) == 0 {
				continue
			}
			want := 0.0
			if o.oneHead {
				want = 1
			}
			score += (o.view.OneHead - want) * (o.view.OneHead - want)
			n++
		}
	}
	return score / float64(n), n
}
