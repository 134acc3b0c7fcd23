package diagnosis

import (
	"math"
	"math/cmplx"
	"testing"
)

// What a line answers to a wave whose frequency rises, integrated step by step
// from rest: a resonance of 5 Hz passed at 1.6 Hz/s.
func TestALineThatIsSweptThrough(t *testing.T) {
	const f0, damping, sweep, dt = 5.0, 0.25, 1.6, 1e-4
	w0 := 2 * math.Pi * f0
	// y″/ω² + 2ζy′/ω + y = (2ζωu + u′)/2π, with v = y′ − ω²u/2π so that no
	// derivative of u is needed.
	var y, v complex128
	worst, steady := 0.0, 0.0
	for i := 0; ; i++ {
		at := float64(i) * dt
		f := 0.5 + sweep*at
		if f > 15 {
			break
		}
		u := cmplx.Rect(1, 2*math.Pi*(0.5*at+sweep*at*at/2))
		slope := func(y, v, u complex128) (dy, dv complex128) {
			dy = v + complex(w0*w0/2/math.Pi, 0)*u
			dv = complex(w0*w0, 0)*(complex(2*damping*w0/2/math.Pi, 0)*u-y) - complex(2*damping*w0, 0)*dy
			return dy, dv
		}
		if f > 2 {
			worst = math.Max(worst, cmplx.Abs(swept(f, sweep, f0, damping)/(y/u)-1))
			steady = math.Max(steady, cmplx.Abs(lumped(f, f0, damping)/(y/u)-1))
		}
		// Heun's rule.
		later := cmplx.Rect(1, 2*math.Pi*(0.5*(at+dt)+sweep*(at+dt)*(at+dt)/2))
		ky, kv := slope(y, v, u)
		ly, lv := slope(y+complex(dt, 0)*ky, v+complex(dt, 0)*kv, later)
		y, v = y+complex(dt/2, 0)*(ky+ly), v+complex(dt/2, 0)*(kv+lv)
	}
	if worst > 0.07 || steady < 0.1 {
		t.Errorf("off by %.3f, without the sweep by %.3f; want at most 0.07, and more than 0.1 without", worst, steady)
	}
}
