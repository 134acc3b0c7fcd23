package rules_test

import (
	"bytes"
	"testing"
	"time"

	"pumpside/rules"
	"pumpside/simulator"
)

// An agent that did not note apart whether something looked changed wrote no
// "changed" beside a standing finding. It is the same finding after the upgrade,
// and not journalled anew.
func TestAFindingOfAnOlderAgentIsNoNews(t *testing.T) {
	b := newBench(t, warm(11), fast)
	began := 0
	b.changed = func(c rules.Change) {
		if c.Event != nil && c.Event.Alarm == rules.CapturedBegan {
			began++
		}
	}
	b.run(16*time.Minute, nil)
	b.event(simulator.Event{At: 16 * time.Minute, Do: simulator.SuctionValveLeak, Cylinder: 1, Size: 0.4})
	b.run(30*time.Minute, nil)
	if began != 1 || !b.state.Observed.Change.Present {
		t.Fatalf("%d findings before the upgrade, want one that stands", began)
	}
	text, err := b.state.Marshal()
	if err != nil {
		t.Fatal(err)
	}
	noted := []byte(`,"changed":true`)
	if bytes.Count(text, noted) != 1 {
		t.Fatal("the state does not say once that something looks changed")
	}
	saved, err := rules.Unmarshal(bytes.Replace(text, noted, nil, 1))
	if err != nil {
		t.Fatal(err)
	}
	b.state, _ = rules.Start(b.set, saved)
	b.run(34*time.Minute, nil)
	if began != 1 {
		t.Errorf("journalled %d times, want once", began)
	}
	if !b.state.Observed.Changed {
		t.Error("nothing looks changed after it")
	}
}
