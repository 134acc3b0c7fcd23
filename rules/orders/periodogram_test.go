package orders_test

import (
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"os/exec"
	"strings"
	"testing"

	"gonum.org/v1/gonum/mat"

	"pumpside/rules/orders"
)

// forty is a set of 40 uneven samples of a 1.3 Hz line with other things,
// whose average sampling rate is 2 Hz: the line lies beyond half of it.
func forty() (t, y []float64) {
	for i := range 40 {
		n := float64(i)
		at := 0.5*n + 0.1*math.Sin(1.7*n)
		t = append(t, at)
		y = append(y, 10+2*math.Cos(2*math.Pi*1.3*at-0.7)+0.5*math.Sin(2.3*n+1)+0.3*math.Cos(5.1*n))
	}
	return t, y
}

// fitLines fits a mean and that many harmonics of f.
func fitLines(tb testing.TB, t, y []float64, f float64, terms int) orders.Fit {
	tb.Helper()
	list := make([]int, terms)
	for i := range list {
		list[i] = i + 1
	}
	g := orders.NewRegression(list...)
	for i := range t {
		g.Add(2*math.Pi*f*t[i], y[i], 1)
	}
	fit, ok := g.Solve()
	if !ok {
		tb.Fatal("no fit")
	}
	return fit
}

// Reference: the generalised Lomb–Scargle periodogram, standard normalisation
// with a floating mean, as computed by astropy 5.2.1 (Zechmeister and Kürster
// 2009, A&A 496:577).
func TestPowerIsThatOfTheFloatingMeanPeriodogram(t *testing.T) {
	times, y := forty()
	for f, want := range map[float64]float64{
		0.3: 6.08399916e-4, 0.7: 0.444923260, 1.0: 2.11889796e-3,
		1.3: 0.937727025, 1.7: 2.82849439e-3, 2.0: 6.58173095e-3,
	} {
		got := fitLines(t, times, y, f, 1).Power
		if math.Abs(got-want) > 5e-9*math.Max(1, want/1e-3) {
			t.Errorf("%v Hz: power %.9g, want %.9g", f, got, want)
		}
	}
	for terms, want := range map[int]float64{1: 0.0018397537, 2: 0.9399125808, 3: 0.9399606411} {
		if got := fitLines(t, times, y, 0.65, terms).Power; math.Abs(got-want) > 1e-9 {
			t.Errorf("%d terms of 0.65 Hz: power %.10g, want %.10g", terms, got, want)
		}
	}
}

// The line of the same samples, found beyond half the sampling rate (values
// from numpy.linalg.lstsq 1.24.2).
func TestTheLineBeyondHalfTheSamplingRate(t *testing.T) {
	times, y := forty()
	fit := fitLines(t, times, y, 1.3, 1)
	a := fit.Amplitude[0]
	for _, tt := range []struct {
		name      string
		got, want float64
	}{
		{"mean", fit.Mean, 10.01451216},
		{"cosine", real(a), 1.69480047},
		{"sine", -imag(a), 1.38780009},
		{"amplitude", cmplx.Abs(a), 2.19051084},
		{"phase", -cmplx.Phase(a), 0.68613412},
		{"residual", fit.Residual, 6.04069103},
	} {
		if math.Abs(tt.got-tt.want) > 6e-9 {
			t.Errorf("%s = %.9g, want %.9g", tt.name, tt.got, tt.want)
		}
	}
}

// Baluev 2008, MNRAS 385:1279; values from the plain formulas and equal to
// astropy 5.2.1 when given the frequency its grid really ends at, 1.998158831.
func TestFalseAlarmProbabilities(t *testing.T) {
	times, _ := forty()
	mean, square := 0.0, 0.0
	for _, at := range times {
		mean += at / 40
		square += at * at / 40
	}
	p := orders.Periodogram{Samples: 40, Variance: square - mean*mean, Span: times[39] - times[0], Highest: 2}
	grid := p
	grid.Highest = 1.998158831
	for _, tt := range []struct {
		name      string
		got, want float64
	}{
		{"single", p.Single(0.3), 1.36242856e-3},
		{"naive", p.Naive(0.3), 0.051699150},
		{"Davies", p.Davies(0.3), 0.159398065},
		{"Baluev", p.Baluev(0.3), 0.147343914},
		{"naive to the grid's end", grid.Naive(0.3), 0.051652808},
		{"Davies to the grid's end", grid.Davies(0.3), 0.159252580},
		{"Baluev to the grid's end", grid.Baluev(0.3), 0.147219856},
	} {
		if math.Abs(tt.got-tt.want) > 1e-8 {
			t.Errorf("%s = %.9g, want %.9g", tt.name, tt.got, tt.want)
		}
	}
	for chance, want := range map[float64]float64{0.1: 0.316911, 0.01: 0.404512, 0.001: 0.478561} {
		if got := grid.Level(chance); math.Abs(got-want) > 2e-6 {
			t.Errorf("level at %v = %.6f, want %.6f", chance, got, want)
		}
	}
}

// A/σ = 2·√(ln(1/chance)/N), calculated.
func TestSmallestLine(t *testing.T) {
	for n, want := range map[int][2]float64{60: {0.679, 0.960}, 600: {0.215, 0.304}, 3600: {0.0876, 0.124}} {
		if got := [2]float64{orders.SmallestLine(n, 1e-3), orders.SmallestLine(n, 1e-6)}; math.Abs(got[0]-want[0]) > 6e-4 || math.Abs(got[1]-want[1]) > 6e-4 {
			t.Errorf("%d samples: %.4f, want %v", n, got, want)
		}
	}
}

// The law sinc²(2mJ), and a simulation of it: a 7.3 Hz line polled at 1 Hz,
// seen in its alias at 0.3 Hz.
func TestJitterWeakensAliases(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 1))
	for jitter, want := range map[float64]float64{0: 1, 0.01: 0.937, 0.05: 0.135, 0.1: 0.047, 0.2: 0.0045} {
		law := orders.AliasPower(7, jitter)
		if math.Abs(law-want) > 6e-4 {
			t.Errorf("law at jitter %v = %.4f, want %v", jitter, law, want)
		}
		g := orders.NewRegression(1)
		for i := range 4000 {
			at := float64(i) + jitter*(2*rng.Float64()-1)
			g.Add(2*math.Pi*0.3*at, math.Cos(2*math.Pi*7.3*at), 1)
		}
		fit, _ := g.Solve()
		if seen := math.Pow(cmplx.Abs(fit.Amplitude[0]), 2); math.Abs(seen-law) > 0.02 {
			t.Errorf("simulated at jitter %v: %.4f, law %.4f", jitter, seen, law)
		}
	}
}

// First-order lag 1/(1 + iωτ) and the mean over T, |sinc(fT)|.
func TestWhatTheSensorPathLeavesOfALine(t *testing.T) {
	for _, tt := range []struct {
		name string
		path orders.Path
		want float64
	}{
		{"nothing in the way", orders.Path{}, 1},
		{"0.1 s of damping", orders.Path{Lags: [3]float64{0.1}}, 0.3033},
		{"0.5 s of damping", orders.Path{Lags: [3]float64{0.5}}, 0.0635},
		{"averaged over 0.1 s", orders.Path{Average: 0.1}, 0.6366},
		{"averaged over 1 s", orders.Path{Average: 1}, 0},
		{"20 ms late", orders.Path{Delay: 0.02}, 1},
	} {
		if got := cmplx.Abs(tt.path.Response(5)); math.Abs(got-tt.want) > 5e-5 {
			t.Errorf("%s leaves %.4f of 5 Hz, want %.4f", tt.name, got, tt.want)
		}
	}
	if got := cmplx.Phase(orders.Path{Delay: 0.02}.Response(5)) * 180 / math.Pi; math.Abs(got+36) > 1e-9 {
		t.Errorf("20 ms turn 5 Hz by %v°, want −36", got)
	}
}

// gonum's QR solution of the same problem.
func TestRegressionAgreesWithAnIndependentSolver(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 5))
	for range 20 {
		list := []int{1, 2, 3, 5, 8}
		const n = 60
		g := orders.NewRegression(list...)
		x, y := mat.NewDense(n, 1+2*len(list), nil), mat.NewVecDense(n, nil)
		for i := range n {
			theta, weight := 20*rng.Float64(), 0.1+rng.Float64()
			value := 1000 + 30*math.Cos(3*theta) + rng.NormFloat64()
			g.Add(theta, value, weight)
			w := math.Sqrt(weight)
			y.SetVec(i, w*value)
			x.Set(i, 0, w)
			for j, k := range list {
				x.Set(i, 1+2*j, w*math.Cos(float64(k)*theta))
				x.Set(i, 2+2*j, w*math.Sin(float64(k)*theta))
			}
		}
		var want mat.VecDense
		if err := want.SolveVec(x, y); err != nil {
			t.Fatal(err)
		}
		fit, _ := g.Solve()
		for j, k := range list {
			ref := complex(want.AtVec(1+2*j), -want.AtVec(2+2*j))
			if cmplx.Abs(fit.Amplitude[j]-ref) > 1e-6 {
				t.Errorf("order %d: %v, want %v", k, fit.Amplitude[j], ref)
			}
		}
	}
}

func TestRegressionNeedsMoreSamplesThanUnknowns(t *testing.T) {
	g := orders.NewRegression(1)
	for i := range 3 {
		g.Add(float64(i), 1, 1)
	}
	if fit, ok := g.Solve(); ok {
		t.Errorf("three samples for three unknowns gave %+v", fit)
	}
}

// scipy's periodogram of the same samples, where Debian's python3-scipy is
// installed.
func TestPowerAgreesWithScipy(t *testing.T) {
	const script = `
import numpy as np, scipy.signal as s
i=np.arange(40); t=.5*i+.1*np.sin(1.7*i)
y=10+2*np.cos(2*np.pi*1.3*t-.7)+.5*np.sin(2.3*i+1)+.3*np.cos(5.1*i)
f=[.3,.7,1.3,1.7]
for v in s.lombscargle(t,y-y.mean(),2*np.pi*np.array(f)): print(repr(float(v)))
for fi in f:
    x=np.c_[np.ones(40),np.cos(2*np.pi*fi*t),np.sin(2*np.pi*fi*t)]
    print(repr(float(1-np.linalg.lstsq(x,y,rcond=None)[1][0]/((y-y.mean())**2).sum())))
`
	out, err := exec.Command("/usr/bin/python3", "-c", script).Output()
	if err != nil {
		t.Skipf("python3 with scipy is not at hand: %v", err)
	}
	lines := strings.Fields(string(out))
	times, y := forty()
	mean := 0.0
	for _, v := range y {
		mean += v / 40
	}
	for i, f := range []float64{0.3, 0.7, 1.3, 1.7} {
		var raw, power float64
		if _, err := fmt.Sscan(lines[i]+" "+lines[4+i], &raw, &power); err != nil {
			t.Fatal(err)
		}
		if got := fitLines(t, times, y, f, 1).Power; math.Abs(got-power) > 1e-10 {
			t.Errorf("%v Hz: %.12g, lstsq %.12g", f, got, power)
		}
		if classic := classicPower(times, y, mean, f); math.Abs(classic-raw) > 1e-9*math.Max(1, raw) {
			t.Errorf("%v Hz: unnormalised %.12g, scipy %.12g", f, classic, raw)
		}
	}
}

// classicPower is Lomb's periodogram without a floating mean, unnormalised:
// half of what the line takes off the sum of squares.
func classicPower(t, y []float64, mean, f float64) float64 {
	var cc, ss, cs, yc, ys float64
	for i := range t {
		s, c := math.Sincos(2 * math.Pi * f * t[i])
		cc, ss, cs = cc+c*c, ss+s*s, cs+c*s
		yc, ys = yc+(y[i]-mean)*c, ys+(y[i]-mean)*s
	}
	return (ss*yc*yc - 2*cs*yc*ys + cc*ys*ys) / (cc*ss - cs*cs) / 2
}
