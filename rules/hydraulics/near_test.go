package hydraulics_test

import (
	"math"
	"testing"

	"pumpside/drivers/quantity"
	"pumpside/rules/pump"
)

// Units of the published examples, in SI (international yard and pound, 1959;
// 1 US gal = 231 in³).
const (
	inch   = 0.0254
	foot   = 0.3048
	pound  = 0.45359237
	psi    = 6894.757293168361
	gpm    = 231 * inch * inch * inch / 60
	perPsi = 1 / psi
	hp     = 745.6998715822702
)

// near fails unless got is want to within tolerance, in the unit of want.
func near[T ~float64](t *testing.T, what string, got, want, tolerance T) {
	t.Helper()
	if !(math.Abs(float64(got-want)) <= float64(tolerance)) {
		t.Errorf("%s = %.8g, want %.8g ± %.1g", what, got, want, tolerance)
	}
}

func crank(rodRatio quantity.Ratio, d pump.Direction) pump.Mechanism {
	return pump.Mechanism{Kind: pump.Crank, RodRatio: rodRatio, Discharge: d}
}

var sine = pump.Mechanism{Kind: pump.Sine}
