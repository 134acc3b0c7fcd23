package trend_test

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"pumpside/rules/trend"
)

// minutes is a block of buckets of one value each, from noon plus start.
func minutes(start time.Duration, values ...float64) *trend.Block {
	s := trend.New(channels, trend.Settings{})
	for i, v := range values {
		if v != gap {
			step(&s, instant(start+time.Duration(i)*time.Minute), pressure(v))
		}
	}
	s.Close()
	return s.TakeClosed()[0]
}

const gap = -999

func TestQuery(t *testing.T) {
	at := func(minutes int) time.Time { return noon.Add(time.Duration(minutes) * time.Minute) }
	const m = time.Minute
	tests := []struct {
		name     string
		blocks   []*trend.Block
		from, to int
		n        int
		want     []trend.Point
	}{
		{"few buckets are given as they are", []*trend.Block{minutes(0, 1, 2, 3)}, 0, 60, 60, []trend.Point{{at(0), m, 1, 1, 1}, {at(1), m, 2, 2, 2}, {at(2), m, 3, 3, 3}}},
		{"from is in, to is not", []*trend.Block{minutes(0, 1, 2, 3)}, 1, 2, 60, []trend.Point{{at(1), m, 2, 2, 2}}},
		{"a gap stays one", []*trend.Block{minutes(0, 1, gap, 3)}, 0, 60, 60, []trend.Point{{at(0), m, 1, 1, 1}, {at(2), m, 3, 3, 3}}},
		{"many buckets are gathered in equal parts", []*trend.Block{minutes(0, 1, 2, 3, 4, 5, 6)}, 0, 6, 3, []trend.Point{{at(0), 2 * m, 1, 1.5, 2}, {at(2), 2 * m, 3, 3.5, 4}, {at(4), 2 * m, 5, 5.5, 6}}},
		{"and a part without any is left out", []*trend.Block{minutes(0, 1, 2, gap, gap, 5, 6)}, 0, 6, 3, []trend.Point{{at(0), 2 * m, 1, 1.5, 2}, {at(4), 2 * m, 5, 5.5, 6}}},
		{"the last part may be shorter", []*trend.Block{minutes(0, 1, 2, 3, 4, 5)}, 0, 5, 2, []trend.Point{{at(0), 150 * time.Second, 1, 2, 3}, {noon.Add(150 * time.Second), 150 * time.Second, 4, 4.5, 5}}},
		{"blocks in any order, those out of the time left out", []*trend.Block{minutes(10*m, 11), minutes(0, 1), minutes(-time.Hour, 9), minutes(time.Hour, 9)}, 0, 60, 60, []trend.Point{{at(0), m, 1, 1, 1}, {at(10), m, 11, 11, 11}}},
		{"a minute that was broken by a restart is one", []*trend.Block{minutes(0, 1), minutes(0, 3)}, 0, 60, 60, []trend.Point{{at(0), m, 1, 2, 3}}},
		{"nothing for an empty time", []*trend.Block{minutes(0, 1)}, 5, 5, 60, nil},
		{"nothing for no points", []*trend.Block{minutes(0, 1)}, 0, 60, 0, nil},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got := trend.Query(tt.blocks, "discharge_pressure", at(tt.from), at(tt.to), tt.n)
			if diff := cmp.Diff(tt.want, got); diff != "" {
				t.Errorf("-want +got\n%s", diff)
			}
		})
	}
	if got := trend.Query([]*trend.Block{minutes(0, 1)}, "no_such_signal", at(0), at(60), 9); got != nil {
		t.Errorf("a signal without history has %v", got)
	}
}
