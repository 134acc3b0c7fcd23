package poll

import (
	"math"
	"testing"
	"time"

	"pumpside/drivers"
	"pumpside/drivers/regmap"
)

func TestAFailedReadKeepsTheWordsOfTheLastAnswer(t *testing.T) {
	var p Poller
	p.raw.begin([][]Seen{make([]Seen, 2)})
	at := time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	p.raw.see(0, []regmap.Value{{Point: 1, Number: 7, Quality: drivers.Good, Raw: [4]uint16{7}, RawWords: 1}}, at)
	before := p.Raw()
	p.raw.see(0, []regmap.Value{{Point: 1, Number: math.NaN(), Reason: drivers.Timeout}}, time.Time{})
	if s := p.Raw()[0][1]; s.Raw[0] != 7 || s.RawWords != 1 || s.Reason != drivers.Timeout || s.Quality != drivers.Bad || !math.IsNaN(s.Number) || !s.At.Equal(at) {
		t.Errorf("seen after a timeout: %+v", s)
	}
	if s := p.Raw()[0][0]; s.RawWords != 0 || !s.At.IsZero() {
		t.Errorf("a point nobody read: %+v", s)
	}
	if before[0][1].Number != 7 {
		t.Error("what was given out has changed")
	}
}
