package orders

import "math"

// A phase is the shaft angle in radians as a polynomial over a window,
//
//	θ(t) = Σ q_j·P_j(x), j = 1 … degree,  x = (t − middle)/half,
//
// with Legendre polynomials P_j, whose mean over the window is zero: angles
// count from the mean angle of the window.
type phase struct {
	middle, half float64 // s
	degree       int
	q            [mostPhase + 1]float64 // q[0] stays 0
}

// at gives the angle and the angular speed in rad/s.
func (p *phase) at(t float64) (theta, omega float64) {
	x := (t - p.middle) / p.half
	before, now := 1.0, x          // P_j−1, P_j
	slopeBefore, slope := 0.0, 1.0 // and their derivatives
	for j := 1; j <= p.degree; j++ {
		theta += p.q[j] * now
		omega += p.q[j] * slope
		before, now = now, ascend[j][0]*x*now-ascend[j][1]*before
		slopeBefore, slope = slope, slopeBefore+float64(2*j+1)*before
	}
	return theta, omega / p.half
}

// ascend is how the next Legendre polynomial follows from two:
// P_j+1 = (2j+1)/(j+1)·x·P_j − j/(j+1)·P_j−1.
var ascend = func() (list [mostPhase + 2][2]float64) {
	for j := range list {
		n := float64(j)
		list[j] = [2]float64{(2*n + 1) / (n + 1), n / (n + 1)}
	}
	return list
}()

// terms fills row with P_1, P_2, … at t, as many as the phase's degree or more,
// and gives the angle and the angular speed in rad/s.
func (p *phase) terms(row []float64, t float64) (theta, omega float64) {
	x := (t - p.middle) / p.half
	before, now := 1.0, x
	slopeBefore, slope := 0.0, 1.0
	for j := range row {
		row[j] = now
		q := p.q[j+1] // 0 beyond the degree
		theta += q * now
		omega += q * slope
		before, now = now, ascend[j+1][0]*x*now-ascend[j+1][1]*before
		slopeBefore, slope = slope, slopeBefore+float64(2*j+3)*before
	}
	return theta, omega / p.half
}

// basis fills row with P_1 … P_n at t, times scale.
func (p *phase) basis(row []float64, t, scale float64) {
	x := (t - p.middle) / p.half
	before, now := scale, scale*x
	for j := range row {
		row[j] = now
		before, now = now, ascend[j+1][0]*x*now-ascend[j+1][1]*before
	}
}

// slopes fills row with the derivatives of P_1 … P_n at t, in 1/s.
func (p *phase) slopes(row []float64, t float64) {
	x := (t - p.middle) / p.half
	before, now := 1.0, x
	slopeBefore, slope := 0.0, 1.0
	for j := range row {
		row[j] = slope / p.half
		before, now = now, ascend[j+1][0]*x*now-ascend[j+1][1]*before
		slopeBefore, slope = slope, slopeBefore+float64(2*j+3)*before
	}
}

// speed is the mean speed over the window in turns per second.
func (p *phase) speed() float64 {
	end, _ := p.at(p.middle + p.half)
	begin, _ := p.at(p.middle - p.half)
	return (end - begin) / (2 * p.half) / (2 * math.Pi)
}

// spread is the range of the speed over the window, by its mean.
func (p *phase) spread() float64 {
	const steps = 32
	low, high := math.Inf(1), math.Inf(-1)
	for i := range steps + 1 {
		_, omega := p.at(p.middle + p.half*(2*float64(i)/steps-1))
		low, high = min(low, omega), max(high, omega)
	}
	return (high - low) / (2 * math.Pi) / math.Abs(p.speed())
}

// differs is whether two phases are apart by more than a tenth of a radian
// anywhere, or nearly so.
func (p *phase) differs(o phase) bool {
	sum := 0.0
	for j := range p.q {
		sum += math.Abs(p.q[j] - o.q[j])
	}
	return sum > 0.1
}

// ramp is how much stated speed must change within a window, by its mean, for
// its shape to be taken over; less is filter lag and resolution of the drive.
const ramp = 0.01

// fromSpeed starts the phase from stated speeds: their mean, or a polynomial
// when they ramp. It is false when there are none.
func (p *phase) fromSpeed(speeds []point, m *normal) bool {
	within, sum, low, high := 0, 0.0, math.Inf(1), math.Inf(-1)
	for _, s := range speeds {
		if math.Abs(s.t-p.middle) <= p.half {
			within++
			sum += s.y
			low, high = min(low, s.y), max(high, s.y)
		}
	}
	switch {
	case len(speeds) == 0:
		return false
	case within == 0:
		p.uniform(speeds[len(speeds)-1].y)
	case high-low > ramp*sum/float64(within):
		p.fitSpeed(speeds, min(within, 3), m)
	default:
		p.uniform(sum / float64(within))
	}
	return true
}

func (p *phase) uniform(turnsPerSecond float64) {
	p.degree, p.q = 1, [mostPhase + 1]float64{}
	p.q[1] = 2 * math.Pi * turnsPerSecond * p.half
}

// fitSpeed fits a phase of that degree, at most 3, to speeds, by least squares
// on its slope.
func (p *phase) fitSpeed(speeds []point, degree int, m *normal) {
	var cubic [3]float64
	row := cubic[:degree]
	m.reset(degree)
	for _, s := range speeds {
		if math.Abs(s.t-p.middle) <= p.half {
			p.slopes(row, s.t)
			m.add(row, 2*math.Pi*s.y, 1)
		}
	}
	m.solve()
	p.degree, p.q = degree, [mostPhase + 1]float64{}
	copy(p.q[1:], m.x[:degree])
}

// fromAngles starts the phase from bounds on the angle, with that degree. It
// gives the standard error of the slope q[1]; ok is false when there are too
// few. Each bound is an observation of its middle; where a count steps by one
// between two polls, the step is a better one.
func (p *phase) fromAngles(angles []bound, degree int, m *normal) (slope float64, ok bool) {
	if len(angles) < 2*degree+2 {
		return 0, false
	}
	rate := (angles[len(angles)-1].low - angles[0].low) / (angles[len(angles)-1].t - angles[0].t)
	var row [1 + mostPhase]float64
	row[0] = 1
	origin := angles[0].low
	observe := func(t, turns, width float64) {
		p.basis(row[1:1+degree], t, 1)
		s := 2 * math.Pi * width / math.Sqrt(12) // a uniform error of that width
		m.add(row[:1+degree], 2*math.Pi*(turns-origin), 1/(s*s))
	}
	m.reset(1 + degree)
	for i, b := range angles {
		observe(b.t, (b.low+b.high)/2, b.high-b.low+2*rate*b.half+1e-4)
		if i == 0 {
			continue
		}
		a := angles[i-1]
		if step := rate * (b.t - a.t + a.half + b.half); b.low == a.high && b.high > b.low && step < b.high-b.low {
			observe((a.t+b.t)/2, b.low, step)
		}
	}
	m.solve()
	m.invert()
	p.degree, p.q = degree, [mostPhase + 1]float64{}
	copy(p.q[1:], m.x[1:1+degree])
	return math.Sqrt(m.inv[1][1]), p.q[1] > 0
}

// offsets is the range of constants that, added to the phase, satisfy all
// bounds; low is above high when none does.
func (p *phase) offsets(angles []bound) (low, high float64) {
	low, high = math.Inf(-1), math.Inf(1)
	for _, b := range angles {
		theta, omega := p.at(b.t)
		pad := math.Abs(omega) * b.half
		low = max(low, 2*math.Pi*b.low-theta-pad)
		high = min(high, 2*math.Pi*b.high-theta+pad)
	}
	return low, high
}

// fits is whether one constant satisfies all bounds.
func (p *phase) fits(angles []bound) bool {
	low, high := p.offsets(angles)
	return low <= high
}

// offset is the middle of the range of constants, and half its width. When
// bounds contradict each other by a little, because time stamps do, it is the
// middle of the overlap; when they do so by more than an eighth of a turn, or
// there are none, nothing is known and half is π.
func (p *phase) offset(angles []bound) (middle, half float64) {
	low, high := p.offsets(angles)
	if len(angles) == 0 || low-high > math.Pi/4 {
		return 0, math.Pi
	}
	return (low + high) / 2, math.Abs(high-low) / 2
}
