package condition_test

import (
	"bufio"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"pumpside/drivers"
	"pumpside/rules/condition"
)

// The open data set "Condition monitoring of hydraulic systems" (Helwig,
// Pignanelli and Schütze, 2018): 2,205 load cycles of a hydraulic rig whose
// pump is made to leak. It is read where it is present: in the folder that
// PUMPSIDE_DATA names, or beside the project.
func rigFolder(t *testing.T) string {
	folder := os.Getenv("PUMPSIDE_DATA")
	if folder == "" {
		folder = filepath.Join("..", "..", "..", "shared", "data")
	}
	folder = filepath.Join(folder, "hydraulic-rig")
	if _, err := os.Stat(folder); err != nil {
		t.Skipf("the data set is not at hand (set PUMPSIDE_DATA to its folder): %v", err)
	}
	return folder
}

// cycles reads one signal as the mean of each cycle.
func cycles(t *testing.T, folder, signal string) (means []float64) {
	t.Helper()
	file, err := os.Open(filepath.Join(folder, signal+".txt"))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	for lines := bufio.NewScanner(file); lines.Scan(); {
		sum, n := 0.0, 0
		for field := range strings.FieldsSeq(lines.Text()) {
			v, err := strconv.ParseFloat(field, 64)
			if err != nil {
				t.Fatal(err)
			}
			sum += v
			n++
		}
		means = append(means, sum/float64(n))
	}
	return means
}

// leakage reads the label of each cycle: 0 none, 1 weak, 2 severe.
func leakage(t *testing.T, folder string) (labels []string) {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(folder, "profile.txt"))
	if err != nil {
		t.Fatal(err)
	}
	for line := range strings.Lines(string(text)) {
		labels = append(labels, strings.Fields(line)[2])
	}
	return labels
}

// The efficiency of the rig falls in the very cycle, 210, in which its pump
// begins to leak: a Cusum with k = 0.5 and h = 5 on cycles 150 to 199 as
// reference says so then, and not before.
func TestTheRigsPumpIsFoundLeakingInTheCycleItBegins(t *testing.T) {
	folder := rigFolder(t)
	eff, labels := cycles(t, folder, "SE"), leakage(t, folder)
	if len(eff) != 2205 || labels[209] != "0" || labels[210] != "2" {
		t.Fatalf("%d cycles, labels %s and %s at 209 and 210", len(eff), labels[209], labels[210])
	}
	mean, sd := moments(eff[150:200])
	if math.Abs(mean-60.445) > 5e-4 || math.Abs(sd-0.1315) > 5e-5 {
		t.Errorf("reference %.4f ± %.4f, want 60.445 ± 0.1315", mean, sd)
	}
	c, sum := condition.Cusum{Slack: 0.5, Limit: 5}, 0.0
	for i := 200; ; i++ {
		if sum = c.Step(sum, (mean-eff[i])/sd); c.Alarms(sum) {
			if i != 210 {
				t.Errorf("first alarm in cycle %d, want 210", i)
			}
			break
		}
	}
}

// The same through learned baselines, as the pump's own rules use them.
func TestTheRigsLeakIsFoundByALearnedBaseline(t *testing.T) {
	eff := cycles(t, rigFolder(t), "SE")
	set := condition.DefaultSettings(condition.Bands{})
	var s condition.State
	at := drivers.Instant{Boot: "rig"}
	raised := 0
	for i := 150; i < 260; i++ {
		s.Observe(&set, at, condition.Band{}, []condition.Observation{condition.Number(condition.VolumetricEfficiency, eff[i]/100, 0.005)})
		at.SinceBoot += time.Minute
		s.Advance(&set, at)
		if raised == 0 && s.Changes(&set, condition.Band{}, nil)[0].Raised {
			raised = i
		}
	}
	// One block is cut at four standard deviations, so a single cycle, however
	// bad, raises nothing: this many in a row do.
	if raised < 211 || raised > 216 {
		t.Errorf("raised in cycle %d, want 211 to 216", raised)
	}
}

// Signals that have nothing to do with the pump tell its leak no better than
// a coin; its efficiency does.
func TestOnlyTheEfficiencyTellsTheRigsLeak(t *testing.T) {
	folder := rigFolder(t)
	labels := leakage(t, folder)
	for signal, want := range map[string][2]float64{
		"SE": {0.98, 1}, "CE": {0.44, 0.56}, "CP": {0.44, 0.56}, "TS1": {0.44, 0.56}, "TS4": {0.44, 0.56}, "VS1": {0.44, 0.56},
	} {
		means := cycles(t, folder, signal)
		for _, leak := range []string{"1", "2"} {
			if got := higher(means, labels, "0", leak); got < want[0] || got > want[1] {
				t.Errorf("%s is higher without than with leakage %s in %.3f of pairs, want %v", signal, leak, got, want)
			}
		}
	}
}

// Cooling stays quiet while the pump leaks, and speaks when the cooler itself
// is changed, in cycle 732. 15 % is the least change worth noticing.
func TestTheRigsCoolingIsQuietUntilItsCoolerChanges(t *testing.T) {
	folder := rigFolder(t)
	for _, signal := range []string{"CE", "CP"} {
		means := cycles(t, folder, signal)
		set := condition.DefaultSettings(condition.Bands{})
		set.LearnBlocks = 50
		var s condition.State
		at := drivers.Instant{Boot: "rig"}
		for i := 150; i < 760; i++ {
			s.Observe(&set, at, condition.Band{}, []condition.Observation{condition.Number("cooling", means[i], 0.15*means[150])})
			at.SinceBoot += time.Minute
			s.Advance(&set, at)
			raised := s.Changes(&set, condition.Band{}, nil)[0].Raised
			if i < 732 && raised {
				t.Fatalf("%s is raised in cycle %d, when only pump and valve had changed", signal, i)
			}
			if i == 759 && !raised {
				t.Errorf("%s is quiet although the cooler has changed", signal)
			}
		}
	}
}

func moments(values []float64) (mean, sd float64) {
	for _, v := range values {
		mean += v / float64(len(values))
	}
	for _, v := range values {
		sd += (v - mean) * (v - mean) / float64(len(values)-1)
	}
	return mean, math.Sqrt(sd)
}

// higher is the share of pairs in which a value with the one label is higher
// than one with the other (Mann–Whitney).
func higher(values []float64, labels []string, one, other string) float64 {
	wins, n := 0.0, 0.0
	for i, a := range values {
		if labels[i] != one {
			continue
		}
		for j, b := range values {
			if labels[j] == other {
				n++
				switch {
				case a > b:
					wins++
				case a == b:
					wins += 0.5
				}
			}
		}
	}
	return wins / n
}
