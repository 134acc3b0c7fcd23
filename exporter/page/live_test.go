package page_test

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"strings"
	"testing"
	"time"

	"pumpside/drivers"
	"pumpside/exporter/page"
	"pumpside/rules"
)

// news is what the event stream tells an open page.
type news struct {
	At    string
	Parts map[string]string
	Order []string
}

// follow opens the event stream of a screen and gives its messages.
func follow(t *testing.T, base, path string) <-chan news {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	t.Cleanup(cancel)
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, base+"/events?at="+path, nil)
	if err != nil {
		t.Fatal(err)
	}
	answer, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	if kind := answer.Header.Get("Content-Type"); kind != "text/event-stream" {
		t.Fatalf("%s is %s", path, kind)
	}
	told := make(chan news, 100)
	go func() {
		defer answer.Body.Close()
		defer close(told)
		lines := bufio.NewScanner(answer.Body)
		lines.Buffer(nil, 1<<20)
		for lines.Scan() {
			if data, ok := strings.CutPrefix(lines.Text(), "data: {"); ok {
				var n news
				if json.Unmarshal([]byte("{"+data), &n) == nil {
					told <- n
				}
			}
		}
	}()
	return told
}

func next(t *testing.T, told <-chan news) news {
	t.Helper()
	select {
	case n, ok := <-told:
		if !ok {
			t.Fatal("the stream ended")
		}
		return n
	case <-time.After(5 * time.Second):
		t.Fatal("nothing was told")
		return news{}
	}
}

func TestAChangedValueIsToldAndNothingElse(t *testing.T) {
	source := newSource()
	server, _ := serve(t, source, nil)
	told := follow(t, server.URL, "/pump/gp-1")
	if first := next(t, told); len(first.Parts) < 8 || !strings.Contains(first.Parts["v-discharge_pressure"], "7200") {
		t.Fatalf("the first message has not the whole screen: %v", first.Parts)
	}
	source.change(1, func(s *rules.Snapshot) { s.Signals[0].Value = 7.3e6 })
	n := next(t, told)
	if len(n.Parts) != 1 || !strings.Contains(n.Parts["v-discharge_pressure"], "7300") {
		t.Errorf("told %v", n.Parts)
	}
	source.change(1, func(s *rules.Snapshot) { s.Signals[0].Quality, s.Signals[0].Reason = drivers.Bad, drivers.Stale })
	if n := next(t, told); !strings.Contains(n.Parts["v-discharge_pressure"], "--") || strings.Contains(n.Parts["v-discharge_pressure"], "7300") {
		t.Errorf("a stale value is told as %q", n.Parts["v-discharge_pressure"])
	}
	if n := next(t, told); len(n.Parts) > 0 || n.At != "2026-03-01 12:00:00" {
		t.Errorf("without news the beat is %+v", n)
	}
	source.mu.Lock()
	defer source.mu.Unlock()
	if len(source.watched) == 0 || source.watched[0] != "gp-1" {
		t.Errorf("watched %v", source.watched)
	}
}

func TestTheSiteIsSortedAnewWhenAPumpFails(t *testing.T) {
	source := newSource()
	server, _ := serve(t, source, nil)
	told := follow(t, server.URL, "/")
	if got := fmt.Sprint(next(t, told).Order); got != "[pump-gp-1 pump-gp-2]" {
		t.Fatalf("first %s", got)
	}
	source.change(0, func(s *rules.Snapshot) { s.Alarms[0] = source.view.Pumps[1].Alarms[0] })
	source.change(1, func(s *rules.Snapshot) { s.Alarms[0].State = 0 })
	for {
		if n := next(t, told); n.Order != nil {
			if got := fmt.Sprint(n.Order); got != "[pump-gp-2 pump-gp-1]" {
				t.Errorf("then %s", got)
			}
			return
		}
	}
}

func TestAStreamEndsWithItsSession(t *testing.T) {
	server, users := serve(t, newSource(), func(s *page.Settings) { s.Loopback = false })
	addPeople(t, users)
	v := visit(t, server.URL)
	v.signIn("vera")
	r, err := http.NewRequestWithContext(t.Context(), http.MethodGet, server.URL+"/events?at=/alarms", nil)
	if err != nil {
		t.Fatal(err)
	}
	answer, err := v.client.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close()
	lines := bufio.NewScanner(answer.Body)
	lines.Buffer(nil, 1<<20)
	if !lines.Scan() || answer.StatusCode != http.StatusOK {
		t.Fatalf("no stream for a viewer: %s", answer.Status)
	}
	if err := page.RemoveUser(users, "vera"); err != nil {
		t.Fatal(err)
	}
	for lines.Scan() { // until the server ends it; the test's deadline is the limit
	}
	if status, _ := v.get("/api/v1/site"); status != http.StatusUnauthorized {
		t.Errorf("a viewer that is gone reads: %d", status)
	}
}
