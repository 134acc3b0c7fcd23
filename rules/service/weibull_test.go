package service_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"pumpside/rules/service"
)

func failed(ages ...float64) (spans []service.Span) {
	for _, a := range ages {
		spans = append(spans, service.Span{Age: a, Failed: true})
	}
	return spans
}

func censored(n int, age float64) (spans []service.Span) {
	for range n {
		spans = append(spans, service.Span{Age: age})
	}
	return spans
}

// near is whether got agrees with want to so many parts of it.
func near(t *testing.T, what string, got, want, share float64) {
	t.Helper()
	if math.Abs(got-want) > share*math.Abs(want) {
		t.Errorf("%s = %.7g, want %.7g", what, got, want)
	}
}

// nist is the worked example of the NIST/SEMATECH e-Handbook, 8.4.1.3: ten
// failures, ten units stopped at 500 h.
var nist = append(failed(54, 187, 216, 240, 244, 335, 361, 373, 375, 386), censored(10, 500)...)

// fans are the 70 diesel generator fans of W. Nelson, Applied Life Data
// Analysis, 1982, p. 318: 12 failures, hours.
var fans = append(failed(450, 1150, 1150, 1600, 2070, 2070, 2080, 3100, 3450, 4600, 6100, 8750), fansRunning()...)

func fansRunning() (spans []service.Span) {
	for _, row := range []struct {
		n   int
		age float64
	}{
		{1, 460},
		{1, 1560},
		{1, 1660},
		{5, 1850},
		{3, 2030},
		{1, 2200},
		{4, 3000},
		{1, 3200},
		{2, 3750},
		{4, 4150},
		{4, 4300},
		{4, 4850},
		{3, 5000},
		{3, 6100},
		{1, 6300},
		{2, 6450},
		{1, 6700},
		{1, 7450},
		{2, 7800},
		{2, 8100},
		{1, 8200},
		{3, 8500},
		{2, 8750},
		{1, 9400},
		{1, 9900},
		{3, 10100},
		{1, 11500},
	} {
		spans = append(spans, censored(row.n, row.age)...)
	}
	return spans
}

func TestFitWeibullOfPublishedExamples(t *testing.T) {
	tests := []struct {
		name                       string
		spans                      []service.Span
		shape, life, logLikelihood float64
		digits                     float64
	}{
		{"NIST e-Handbook 8.4.1.3", nist, 1.7208, 606.5280, -75.135, 1e-5},
		{
			"relief times of 20 patients (Gross and Clark 1975), as NAG g07be fits them: shape 2.7870, eta = exp(2.1073/2.7870)",
			failed(1.1, 1.4, 1.3, 1.7, 1.9, 1.8, 1.6, 2.2, 1.7, 2.7, 4.1, 1.8, 1.5, 1.2, 1.4, 3.0, 1.7, 2.3, 1.6, 2.0),
			2.7870, 2.129983, -20.5864, 1e-4,
		},
		{
			"ball bearings, millions of turns (Lieblein and Zelen 1956; values from memory)",
			failed(17.88, 28.92, 33.00, 41.52, 42.12, 45.60, 48.40, 51.84, 51.96, 54.12, 55.56, 67.80, 68.64, 68.64, 68.88, 84.12, 93.12, 98.64, 105.12, 105.84, 127.92, 128.04, 173.40),
			2.10185, 81.8746, -113.69196, 1e-4,
		},
		{"diesel fans (Nelson 1982, p. 318)", fans, 1.058446, 26296.8, -52.25966 - 12*math.Log(1000), 1e-5},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			w, err := service.FitWeibull(tt.spans)
			if err != nil {
				t.Fatal(err)
			}
			near(t, "shape", w.Shape, tt.shape, tt.digits)
			near(t, "characteristic life", w.Life, tt.life, tt.digits)
			near(t, "log-likelihood", w.LogLikelihood, tt.logLikelihood, tt.digits)
		})
	}
}

// TestWeibullOfNIST: what the same page of the e-Handbook gives beside the fit;
// B10 calculated from it.
func TestWeibullOfNIST(t *testing.T) {
	w, err := service.FitWeibull(nist)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "AIC", w.AIC(), 154.27, 1e-4)
	near(t, "mean life", w.Mean(), 540.737, 1e-5)
	near(t, "B10", w.By(0.1), 164.022, 1e-5)
	if w.Failures != 10 || w.Suspended != 10 {
		t.Errorf("%d failures, %d suspensions", w.Failures, w.Suspended)
	}
}

// TestErrorOfTheShape: NAG g07be gives 0.4273 for the example above.
func TestErrorOfTheShape(t *testing.T) {
	w, err := service.FitWeibull(failed(1.1, 1.4, 1.3, 1.7, 1.9, 1.8, 1.6, 2.2, 1.7, 2.7, 4.1, 1.8, 1.5, 1.2, 1.4, 3.0, 1.7, 2.3, 1.6, 2.0))
	if err != nil {
		t.Fatal(err)
	}
	near(t, "standard error of the shape", w.ShapeError(), 0.4273, 3e-4)
}

// TestWeibullFormulas: textbook values, F = 1 − exp(−(t/η)^b).
func TestWeibullFormulas(t *testing.T) {
	w := service.Weibull{Shape: 2, Life: 1000}
	near(t, "B10", w.By(0.1), 324.5928, 1e-6)
	near(t, "mean", w.Mean(), 886.2269, 1e-6)
	w = service.Weibull{Shape: 1.5, Life: 8000}
	near(t, "B10", w.By(0.1), 1784.605, 1e-6)
	w = service.Weibull{Shape: 2, Life: 10000}
	near(t, "chance to last from 8000 to 9000", w.Survives(9000, 8000), 0.843665, 1e-5)
}

func TestNothingToFit(t *testing.T) {
	if _, err := service.FitWeibull(censored(9, 100)); !errors.Is(err, service.ErrNoFailures) {
		t.Errorf("without failures: %v", err)
	}
	if _, err := service.FitWeibull(failed(7, 7, 7)); err == nil {
		t.Error("failures of one age have a shape")
	}
	if _, err := service.FitWeibull(failed(7, 0, 9)); err == nil || err.Error() != "span 1: 0 is no age; it must be above 0" {
		t.Errorf("age 0: %v", err)
	}
}

// TestBoundsHoldTheTruth draws parts of a known life, half of them censored:
// bounds of 90 % must hold the true B10 in about nine of ten cases.
func TestBoundsHoldTheTruth(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 9))
	const trials, shape, life = 1000, 2.0, 8000.0
	truth := service.Weibull{Shape: shape, Life: life}
	inside := 0
	for range trials {
		var spans []service.Span
		for range 40 {
			age, stop := life*math.Pow(r.ExpFloat64(), 1/shape), 14_000*r.Float64()
			spans = append(spans, service.Span{Age: math.Min(age, stop), Failed: age <= stop})
		}
		w, err := service.FitWeibull(spans)
		if err != nil {
			t.Fatal(err)
		}
		if b := w.ByBounds(0.1); b.Low <= truth.By(0.1) && truth.By(0.1) <= b.High {
			inside++
		}
	}
	t.Logf("%d of %d bounds hold the true B10", inside, trials)
	if inside < 850 || inside > 930 {
		t.Errorf("%d of %d bounds hold the true B10, want about 900", inside, trials)
	}
}
