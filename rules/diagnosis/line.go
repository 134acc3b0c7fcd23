package diagnosis

import "math"

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
	// Shared is the part of the error that points have in common, since the
	// flow behind them is known only so well.
	Shared float64 `json:"shared"`
}

// reach is how far, as a share of a frequency, a measured point tells.
const reach = 0.15

// At is the impedance at a frequency with its relative error; ok is false
// where the line was not measured.
func (l *Line) At(hertz float64) (z complex128, err float64, ok bool) {
	var sum complex128
	weights, square, shared := 0.0, 0.0, 0.0
	for _, p := range l.Points {
		off := math.Abs(ln(p.Hertz / hertz))
		if off > reach {
			continue
		}
		// The impedance of a line goes about with frequency. What is weak is
		// averaged as it is: its size alone would be too large.
		e := math.Hypot(p.Error, off)
		w := 1 / (e * e)
		sum += complex(w*hertz/p.Hertz, 0) * complex(p.Re, p.Im)
		weights += w
		square += w * w * p.Error * p.Error
		shared += w * p.Shared
	}
	if weights == 0 || math.Sqrt(square)/weights > 0.4 {
		return 0, 0, false
	}
	// Systematic: what the flow of a real pump differs from the model's.
	const model = 0.1
	return sum / complex(weights, 0), math.Hypot(math.Hypot(math.Sqrt(square), shared)/weights, model), true
}
