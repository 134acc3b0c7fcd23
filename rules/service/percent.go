package service

import "math"

// Percent is the share of an interval that is used up, in whole percent. What
// is not due yet is rounded down, so that it never reads 100 % before its time.
func Percent(used float64) float64 {
	const slack = 1e-9 // 0.29 times 100 is not quite 29
	if used < 1 {
		return math.Floor(100*used + slack)
	}
	return math.Round(100 * used)
}
