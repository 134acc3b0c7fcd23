package orders

import "math"

// A peak is what the search for the shaft speed found.
type peak struct {
	omega  float64 // rad/s to add to the speed
	power  float64 // share of the signal's variance in what is looked for there
	chance float64 // that noise alone has a peak as high
	unique bool    // no other speed explains the signal about as well
}

// look searches for the speed. Where ripple is fast against the beat of the
// transmitter, nothing is seen until the beat is known as well, so its phases
// are tried too.
func (f *Fitter) look(w *Window, reach, beat float64) peak {
	p := f.search(reach)
	if p.chance < rippleChance || beat == 0 {
		return p
	}
	best := 0.0
	for i := range beatPhases {
		at := beat * float64(i) / beatPhases
		f.place(w.samples, beat, at, false)
		q := f.search(reach)
		if q.chance *= beatPhases; q.chance < p.chance {
			p, best = q, at
		}
	}
	if f.place(w.samples, beat, best, p.chance >= rippleChance); p.chance < rippleChance {
		f.lastBeat = w.start.Seconds() + best
	}
	return p
}

// search looks for the speed, within ± reach of the phase's own, at which the
// first order and the ripple's, m and 2m, explain most of the signal: behind a
// dampener a head that leaks shows more than all the ripple. The steps are a
// quarter of what turns order 2m by one cycle over the window.
func (f *Fitter) search(reach float64) peak {
	const lobe = 8 // steps to where order m has turned by one cycle: what lies beyond is another peak
	m := float64(f.settings.Cylinders)
	step := math.Pi / 2 / (2 * m * 2 * f.phase.half)
	n := min(int(math.Ceil(reach/step)), len(f.powers)/2)
	f.aim(step, -n)
	best := 0
	for i := range 2*n + 1 {
		f.powers[i] = f.ripplePower()
		if f.powers[i] > f.powers[best] {
			best = i
		}
	}
	p := peak{omega: float64(best-n) * step, power: f.powers[best], unique: true}
	p.chance = float64(2*n+1) * betaTail(p.power, 6, float64(len(f.samples)-7)) // six coefficients beside a mean
	for i := range 2*n + 1 {
		if i < best-lobe || i > best+lobe {
			gain := float64(len(f.samples)) * math.Log((1-f.powers[i])/(1-p.power)) // twice the log-likelihood ratio
			p.unique = p.unique && gain > 12
		}
	}
	return p
}

// aim sets each sample's exp(iθ) to the n-th step of speed, and the factor
// that takes it one step on.
func (f *Fitter) aim(step float64, n int) {
	for i, s := range f.samples {
		turn := step * (s.t - f.phase.middle)
		theta, _ := f.phase.at(s.t)
		sin, cos := sincos(theta + float64(n)*turn)
		f.phasor[i] = complex(cos, sin)
		sin, cos = sincos(turn)
		f.factor[i] = complex(cos, sin)
	}
}

// betaTail is the chance that noise puts more than the share p of its
// variance into an even number of columns: the tail of the beta distribution
// with columns/2 and nu/2. With two columns it is (1−p)^(nu/2).
func betaTail(p float64, columns int, nu float64) float64 {
	term, sum := 1.0, 1.0
	for j := 1; j < columns/2; j++ {
		term *= p * (nu/2 + float64(j-1)) / float64(j)
		sum += term
	}
	return sum * math.Pow(1-p, nu/2)
}

// ripplePower is the share of the variance that orders 1, m and 2m explain at
// the present step of speed; it goes on to the next.
func (f *Fitter) ripplePower() float64 {
	a, b := f.rippleSums()
	f.normal.reset(len(b))
	for i := range b {
		copy(f.normal.a[i][:i+1], a[i][:])
		f.normal.b[i] = b[i]
	}
	f.normal.solve()
	explained := -b[0] * b[0] / a[0][0]
	for i := range b {
		explained += f.normal.x[i] * b[i]
	}
	return min(1-1e-12, max(0, explained/f.total))
}

// rippleSums are the normal equations of a mean, and cosine and sine of orders 1,
// m and 2m, all samples alike.
func (f *Fitter) rippleSums() (a [7][7]float64, b [7]float64) {
	for i, s := range f.samples {
		z := f.phasor[i]
		f.phasor[i] = z * f.factor[i]
		u := z
		for range f.settings.Cylinders - 1 {
			u *= z
		}
		v := u * u
		c1, s1, c2, s2, c3, s3 := real(z), imag(z), real(u), imag(u), real(v), imag(v)
		y := s.y - f.mean
		a[1][0] += c1
		a[2][0] += s1
		a[3][0] += c2
		a[4][0] += s2
		a[5][0] += c3
		a[6][0] += s3
		a[1][1] += c1 * c1
		a[2][1] += s1 * c1
		a[3][1] += c2 * c1
		a[3][2] += c2 * s1
		a[4][1] += s2 * c1
		a[4][2] += s2 * s1
		a[5][1] += c3 * c1
		a[5][2] += c3 * s1
		a[6][1] += s3 * c1
		a[6][2] += s3 * s1
		a[5][3] += c3 * c2
		a[6][3] += s3 * c2
		a[5][5] += c3 * c3
		a[6][5] += s3 * c3
		b[0] += y
		b[1] += c1 * y
		b[2] += s1 * y
		b[3] += c2 * y
		b[4] += s2 * y
		b[5] += c3 * y
		b[6] += s3 * y
	}
	// The rest follows from cos² + sin² = 1 and from v = u².
	n := float64(len(f.samples))
	a[0][0], a[2][2], a[6][6] = n, n-a[1][1], n-a[5][5]
	a[3][3], a[4][3], a[4][4] = (n+a[5][0])/2, a[6][0]/2, (n-a[5][0])/2
	a[5][4], a[6][4] = a[6][3]-a[4][0], a[3][0]-a[5][3]
	return a, b
}
