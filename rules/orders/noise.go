package orders

import "math"

// A noise says how uncertain a sample is. Its variance is
//
//	v = level + clock·ẏ² + share·ẏ²·h²/3
//
// level for what the transmitter and its resolution add, clock for an error of
// the time stamp that is the same for all samples, and share for the part of
// the stated uncertainty h of the time stamp that is really there. Where the
// ripple is steep a few milliseconds cost more than all else, so samples near
// its crests carry the fit.
//
// The three are estimated by maximum likelihood from the residuals with
// multiplicative steps (Févotte and Idier 2011, β = 0), which keep them
// positive.
type noise struct {
	level, clock, share float64
	deviance            float64 // −2·log-likelihood, less a constant
}

// begin starts the estimate with the three in equal parts.
func (n *noise) begin(f *Fitter) {
	square, steep := 0.0, 0.0
	for i := range f.samples {
		square += f.residual[i] * f.residual[i]
		steep += f.steep[i]
	}
	n.level = max(square/float64(len(f.samples)), f.floor())
	n.clock = n.level / (steep/float64(len(f.samples)) + tiny)
	n.share = 1
}

const tiny = 1e-300

// floor keeps weights finite on a signal without noise.
func (f *Fitter) floor() float64 { return 1e-12*f.total/float64(len(f.samples)) + tiny }

// reweigh estimates the noise from the residuals of a fit of that degree and
// weighs the samples by it.
func (f *Fitter) reweigh(degree int) {
	n, samples := &f.noise, f.samples
	residual, steep, weight := f.residual[:len(samples)], f.steep[:len(samples)], f.weight[:len(samples)]
	free := float64(len(samples)) / max(1, float64(len(samples)-f.columns(degree))) // residuals are smaller than errors
	floor := f.floor()
	for range 3 {
		var level, clock, share pull
		for i := range samples {
			stamp := steep[i] * samples[i].half * samples[i].half / 3
			w := 1 / (n.level + n.clock*steep[i] + n.share*stamp)
			r := residual[i] * residual[i] * free * w * w
			level.up, level.down = level.up+r, level.down+w
			clock.up, clock.down = clock.up+steep[i]*r, clock.down+steep[i]*w
			share.up, share.down = share.up+stamp*r, share.down+stamp*w
		}
		n.level = max(floor, n.level*level.ratio())
		n.clock *= clock.ratio()
		n.share *= share.ratio()
	}
	logs, squares := logSum{mantissa: 1}, 0.0
	for i := range samples {
		v := n.level + steep[i]*(n.clock+n.share*samples[i].half*samples[i].half/3)
		weight[i] = 1 / v
		logs.add(v)
		squares += residual[i] * residual[i] * weight[i]
	}
	n.deviance = logs.value() + squares
}

// A pull is what the samples move one part of the noise by.
type pull struct{ up, down float64 }

// ratio is the multiplicative step: the square root of what the samples ask
// for, with which the steps never overshoot.
func (p pull) ratio() float64 {
	if p.down == 0 {
		return 1
	}
	return math.Sqrt(p.up / p.down)
}
