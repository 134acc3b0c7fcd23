package orders_test

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"time"

	"pumpside/rules/orders"
)

// A rig makes a signal with known orders, polled as a gateway would.
type rig struct {
	speed     float64 // turns per second
	wander    float64 // standard deviation of the speed, by itself
	memory    float64 // s, correlation time of the wander
	ramp      float64 // turns per second per second
	lines     map[int]complex128
	mean      float64
	noise     float64 // standard deviation
	count     float64 // resolution, 0 for none
	poll      float64 // s between polls
	jitter    float64 // polls are late or early by up to this share of poll
	stamp     float64 // s, the true time lies within ± this of the stamp
	refresh   float64 // s, the transmitter takes a new value on this beat, 0 at once
	refreshAt float64
	lost      float64 // share of polls without an answer
	pulses    float64 // of the index per turn; 0 for no index
	offset    float64 // rad: shaft angle of the index mark
	drive     float64 // s between speeds from the drive; 0 for none
	driveOff  float64 // error of the drive's speed, by itself

	rng        *rand.Rand
	t          float64 // s since boot
	angle, dev float64 // rad, share
}

// healthy is a triplex at 300 rpm with 610 kPa of third order, in kPa.
func healthy(seed uint64) *rig {
	return &rig{
		speed: 5, wander: 0.002, memory: 2, mean: 7000, noise: 10, poll: 0.02, jitter: 0.2,
		lines: map[int]complex128{
			1: cmplx.Rect(8, 0.4), 2: cmplx.Rect(3, -1), 3: cmplx.Rect(610, 1.1), 4: cmplx.Rect(2, 2),
			6: cmplx.Rect(300, -2), 9: cmplx.Rect(25, 0.3), 12: cmplx.Rect(40, 1),
		},
		drive: 1, driveOff: 0.005,
		rng: rand.New(rand.NewPCG(seed, 7)), t: 1000,
	}
}

// advance moves the shaft to the time t.
func (g *rig) advance(t float64) {
	for g.t < t {
		dt := math.Min(0.002, t-g.t)
		if g.memory > 0 {
			g.dev += -g.dev*dt/g.memory + g.wander*math.Sqrt(2*dt/g.memory)*g.rng.NormFloat64()
		}
		g.angle += 2 * math.Pi * g.speed * (1 + g.dev) * dt
		g.speed += g.ramp * dt
		g.t += dt
	}
}

// angleAt is the angle shortly after the time the shaft was moved to.
func (g *rig) angleAt(t float64) float64 {
	dt := t - g.t
	return g.angle + 2*math.Pi*(g.speed*(1+g.dev)+g.ramp*dt/2)*dt
}

func (g *rig) value(angle float64) float64 {
	y := g.mean + g.noise*g.rng.NormFloat64()
	for k, a := range g.lines {
		y += cmplx.Abs(a) * math.Cos(float64(k)*angle+cmplx.Phase(a))
	}
	if g.count > 0 {
		y = g.count * math.Round(y/g.count)
	}
	return y
}

// A track is where the shaft really was at the time stamps of a window.
type track []struct {
	at    time.Duration
	angle float64
}

// fill polls until the window is full.
func (g *rig) fill(w *orders.Window) (path track) {
	w.Reset()
	begin, nextDrive := g.t, g.t
	for n := 1; ; n++ {
		due := begin + g.poll*(float64(n)+g.jitter*(2*g.rng.Float64()-1))
		true_ := due + g.stamp*(2*g.rng.Float64()-1)
		if g.refresh > 0 {
			true_ = math.Floor((true_-g.refreshAt)/g.refresh)*g.refresh + g.refreshAt
		}
		g.advance(due - 0.05)
		path = append(path, struct {
			at    time.Duration
			angle float64
		}{dur(due), g.angleAt(due)})
		if g.drive > 0 && due >= nextDrive {
			w.AddSpeed(dur(due), g.speed*(1+g.driveOff))
			nextDrive += g.drive
		}
		if g.pulses > 0 {
			turns := math.Floor((g.angleAt(true_) - g.offset) / (2 * math.Pi) * g.pulses)
			w.AddAngle(dur(due), dur(g.stamp), turns/g.pulses, (turns+1)/g.pulses)
		}
		if g.rng.Float64() < g.lost {
			continue
		}
		if w.Add(orders.Sample{At: dur(due), Half: dur(g.stamp), Value: g.value(g.angleAt(true_))}) {
			return path
		}
	}
}

// origin is the angle to which the result's angles must be turned to be the
// shaft's own.
func (p track) origin(r *orders.Result) float64 {
	sum := 0.0
	for _, at := range p {
		sum += at.angle - r.AngleAt(at.at)
	}
	return sum / float64(len(p))
}

func dur(s float64) time.Duration { return time.Duration(s * 1e9) }

// rigid is order 1 of the samples just polled, regressed against an angle of
// the window's mean speed: what a fit without wander sees.
func (g *rig) rigid(path track) complex128 {
	list := orders.NewRegression(1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12)
	first, last := path[0], path[len(path)-1]
	mean := 0.0
	for _, p := range path {
		mean += p.angle / float64(len(path))
	}
	rate := (last.angle - first.angle) / (last.at - first.at).Seconds()
	for _, p := range path {
		theta := mean + rate*(p.at-(first.at+last.at)/2).Seconds()
		list.Add(theta, g.value(p.angle), 1)
	}
	fit, _ := list.Solve()
	return fit.Amplitude[0]
}
