package diagnosis

import (
	"math"
	"math/cmplx"
)

// A Line is the impedance between delivered flow and the number read from the
// transmitter, where it was measured. The zero Line is not known anywhere.
type Line struct {
	Points []LinePoint `json:"points,omitempty"`
}

// A LinePoint is the impedance at one frequency.
type LinePoint struct {
	Hertz float64 `json:"hertz"`
	Re    float64 `json:"re"`    // Pa by m³/s
	Im    float64 `json:"im"`    //
	Error float64 `json:"error"` // standard error of either part, by the magnitude
}

// reach is how far, as a share of a frequency, a measured point tells.
const reach = 0.15

// At is the impedance at a frequency with its relative error; ok is false
// where the line was not measured.
func (l *Line) At(hertz float64) (z complex128, err float64, ok bool) {
	var sum complex128
	weights, square := 0.0, 0.0
	for _, p := range l.Points {
		off := math.Abs(ln(p.Hertz / hertz))
		if off > reach || p.Error > 0.6 {
			continue
		}
		// The impedance of a line changes as fast as the frequency does.
		e := math.Hypot(p.Error, off)
		w := 1 / (e * e)
		sum += complex(w, 0) * cmplx.Log(complex(p.Re, p.Im))
		weights += w
		square += w * w * p.Error * p.Error
	}
	if weights == 0 {
		return 0, 0, false
	}
	// Systematic: what the flow of a real pump differs from the model's.
	const model = 0.12
	return cmplx.Exp(sum / complex(weights, 0)), math.Hypot(math.Sqrt(square)/weights, model), true
}
