package page

import (
	"testing"
	"testing/synctest"
	"time"
)

func TestTheJournalsCacheForgetsWhatNobodyAsksForAnyMore(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		kept, asked := tails{of: map[string]tail{}}, 0
		get := func(key string, n int) {
			t.Helper()
			entries, err := kept.get(key, 7, func() ([]Entry, error) { asked++; return make([]Entry, n), nil })
			if err != nil || len(entries) != n {
				t.Errorf("%s: %d entries, %v; want %d", key, len(entries), err, n)
			}
		}
		for range 3 {
			get("a screen", 25)
			time.Sleep(30 * time.Second)
		}
		if asked != 1 {
			t.Errorf("the store was asked %d times for what is kept", asked)
		}
		time.Sleep(2 * time.Minute)
		get("another screen", 25)
		if len(kept.of) != 1 {
			t.Errorf("%d answers are kept, one is two minutes old and more", len(kept.of))
		}
		for _, key := range []string{"a long list", "another long list", "the longest list"} {
			get(key, handoverMost)
		}
		if len(kept.of) != 1 {
			t.Errorf("%d long lists are kept in memory", len(kept.of))
		}
	})
}
