package poll

import (
	"math"
	"testing"
	"time"

	"pumpside/drivers"
	"pumpside/drivers/regmap"
)

func TestAFailedReadKeepsTheWordsOfTheLastAnswer(t *testing.T) {
	d := &device{seen: make([]Seen, 2)}
	at := time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	d.see([]regmap.Value{{Point: 1, Number: 7, Quality: drivers.Good, Raw: [4]uint16{7}, RawWords: 1}}, at)
	d.see([]regmap.Value{{Point: 1, Number: math.NaN(), Reason: drivers.Timeout}}, time.Time{})
	if s := d.seen[1]; s.Raw[0] != 7 || s.RawWords != 1 || s.Reason != drivers.Timeout || s.Quality != drivers.Bad || !math.IsNaN(s.Number) || !s.At.Equal(at) {
		t.Errorf("seen after a timeout: %+v", s)
	}
	if s := d.seen[0]; s.RawWords != 0 || !s.At.IsZero() {
		t.Errorf("a point nobody read: %+v", s)
	}
}
