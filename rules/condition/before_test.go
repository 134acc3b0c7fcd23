package condition_test

import (
	"encoding/json"
	"fmt"
	"strings"
	"testing"
	"time"

	"pumpside/drivers"
	"pumpside/rules/condition"
)

// before is a watch as it was written when baselines had no slopes: twenty
// blocks learned about (100, 5), a block under way, nothing changed.
func before() string {
	var slots []string
	for i := range 20 {
		slots = append(slots, fmt.Sprintf("[%d,%d]", 99+2*(i%2), 5))
	}
	return `{"bands":[{"band":{"speed":20,"pressure":7,"glycol":-1000,"oil":-1000},"used":40,"watches":[{
		"indicator":"discharge_order_1","vector":true,
		"baseline":{"center":[100,5],"blocks":20,"spread":0.5,"stated":0.5,"slots":[` + strings.Join(slots, ",") + `],"per":1,"open":[0,0]},
		"arms":[` + strings.Repeat(`{"sum":0,"quick":0,"blocks":0,"mean":[0,0]},`, 7) + `{"sum":0,"quick":0,"blocks":0,"mean":[0,0]}],
		"since":{"wall":"0001-01-01T00:00:00Z"},
		"block":{"start":{"boot":"b","since_boot":3600000000000},"count":3,"weight":6,"sum":[600,30],"stated":6,"least":1},
		"last":[100,5],"begun":{"boot":"b","since_boot":3540000000000},"gap":60}]}],"beat":40}`
}

// What was learned by an agent whose baselines had no slopes is not lost: the
// pump is judged by it at once, and goes on learning from there. The block that
// was under way begins anew.
func TestABaselineFromBeforeThereWereSlopesIsGoneOnWith(t *testing.T) {
	var s condition.State
	if err := json.Unmarshal([]byte(before()), &s); err != nil {
		t.Fatal(err)
	}
	set := condition.DefaultSettings(condition.Bands{Speed: 15, Pressure: 1e6, Glycol: 15, Oil: 15})
	band := condition.Band{Speed: 20, Pressure: 7, Glycol: condition.Unmeasured, Oil: condition.Unmeasured}
	at := drivers.Instant{Boot: "b", SinceBoot: time.Hour}
	observe := func(x float64) condition.Change {
		for range 10 {
			at.SinceBoot += 6 * time.Second
			s.Observe(&set, at, band, []condition.Observation{{
				Indicator: "discharge_order_1", Value: complex(x, 5), Vector: true, Joined: true, Variance: 0.5, Least: 1,
				Place: condition.Place{0.2, 0.1}, Slope: condition.Place{100, 30, 20, 10},
			}})
		}
		return s.Changes(&set, band, nil)[0]
	}
	for i := range 20 {
		if c := observe(99 + 2*float64(i%2)); !c.Learned || c.Raised || real(c.Baseline) < 99 || real(c.Baseline) > 101 {
			t.Fatalf("after %d minutes: %+v, want a baseline of 100 and no change", i, c)
		}
	}
	if !s.Bands[0].Watches[0].Joined {
		t.Error("it is not watched together with the others")
	}
	if n := s.Bands[0].Watches[0].Baseline.Blocks; n < 35 {
		t.Errorf("learned from %d blocks, want what there were and those since", n)
	}
	for range 10 {
		observe(200)
	}
	if c := s.Changes(&set, band, nil)[0]; !c.Raised {
		t.Errorf("%+v, want a change", c)
	}
	text, err := json.Marshal(s)
	if err != nil {
		t.Fatal(err)
	}
	var again condition.State
	if err := json.Unmarshal(text, &again); err != nil {
		t.Fatal(err)
	}
	if got, want := len(again.Bands[0].Watches[0].Baseline.Slots), len(s.Bands[0].Watches[0].Baseline.Slots); got != want || want == 0 {
		t.Errorf("%d slots after they were written and read, want %d", got, want)
	}
}
