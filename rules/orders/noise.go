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

// reweigh estimates the noise from the residuals and weighs the samples by it.
func (f *Fitter) reweigh() {
	n := &f.noise
	free := float64(len(f.samples)) / max(1, float64(len(f.samples)-f.normal.n)) // residuals are smaller than errors
	floor := f.floor()
	for range 3 {
		var up, down [3]float64
		for i, s := range f.samples {
			stamp := f.steep[i] * s.half * s.half / 3
			w := 1 / (n.level + n.clock*f.steep[i] + n.share*stamp)
			r := f.residual[i] * f.residual[i] * free * w * w
			for j, c := range [3]float64{1, f.steep[i], stamp} {
				up[j] += c * r
				down[j] += c * w
			}
		}
		n.level = max(floor, n.level*ratio(up[0], down[0]))
		n.clock *= ratio(up[1], down[1])
		n.share *= ratio(up[2], down[2])
	}
	n.deviance = 0
	for i, s := range f.samples {
		v := n.level + f.steep[i]*(n.clock+n.share*s.half*s.half/3)
		f.weight[i] = 1 / v
		n.deviance += math.Log(v) + f.residual[i]*f.residual[i]/v
	}
}

// ratio is the square root of a step's ratio, with which the steps never
// overshoot.
func ratio(up, down float64) float64 {
	if down == 0 {
		return 1
	}
	return math.Sqrt(up / down)
}
