package main

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"pumpside/agent/store"
	"pumpside/drivers"
	web "pumpside/exporter/page"
	"pumpside/rules/trend"
)

// openPage runs an agent over one simulated skid in this process and gives the
// address of its page.
func openPage(t *testing.T) (*gateway, string) {
	t.Helper()
	p := newPlant(t, running(1))
	path := p.configure(t, skidSite{Page: freeAddress(t)})
	config, err := loadConfig(path)
	if err != nil {
		t.Fatal(err)
	}
	g, err := open(config, zerolog.Nop(), nil)
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- g.run(ctx) }()
	t.Cleanup(func() {
		stop()
		if err := <-done; err != nil {
			t.Error(err)
		}
		if err := g.close(); err != nil {
			t.Error(err)
		}
	})
	base := "http://" + config.Page.Listen
	eventually(t, "the page answers with a good value", func() bool {
		return strings.Contains(get(base+"/api/v1/pump/gp-1"), `"signal":"discharge_pressure","value":`) &&
			!strings.Contains(get(base+"/api/v1/pump/gp-1"), `"signal":"discharge_pressure","value":null`)
	})
	return g, base
}

// sixHours makes a block of hours, the six that begin at start, in which a
// signal stood at a value.
func sixHours(t *testing.T, start time.Time, values map[drivers.Signal]float64) *trend.Block {
	t.Helper()
	var channels []trend.Channel
	b := drivers.Batch{}
	for s, v := range values {
		channels = append(channels, trend.Channel{Signal: s, Name: s.String()})
		b.Readings = append(b.Readings, drivers.Reading{Signal: s, Value: v, Quality: drivers.Good})
	}
	state := trend.New(channels, trend.Settings{Recent: -1})
	for i := range 6 {
		b.At = drivers.Instant{Wall: start.Add(time.Duration(i) * time.Hour), Boot: "b", SinceBoot: time.Duration(i) * time.Hour, Synchronized: true}
		state.Step(&b)
	}
	state.Close()
	for _, block := range state.TakeClosed() {
		if block.Resolution == trend.Hour {
			return block
		}
	}
	t.Fatal("no block of hours")
	return nil
}

func TestPageLooksBackTwoYears(t *testing.T) {
	g, base := openPage(t)
	values := map[drivers.Signal]float64{}
	for s := drivers.MotorSpeed; s <= drivers.GlycolLevel; s++ { // as many signals as a skid has
		values[s] = 100
	}
	end := time.Now().UTC().Truncate(6 * time.Hour).Add(-6 * time.Hour)
	const blocks = 2 * 365 * 4
	for i := range blocks {
		start := end.Add(-time.Duration(i) * 6 * time.Hour)
		values[drivers.DischargePressure] = 7e6 + 1e3*float64(i%10)
		if err := g.writer.Put(t.Context(), store.ChangeSet{History: []store.Block{blockOf("gp-1", sixHours(t, start, values))}}); err != nil {
			t.Fatal(err)
		}
	}
	now := time.Now()
	query := fmt.Sprintf("/api/v1/pump/gp-1/trend?signal=discharge_pressure&points=1000&from=%d&to=%d", now.Add(-2*365*24*time.Hour).Unix(), now.Unix())
	best, size := time.Hour, 0
	var answer struct{ At, Min, Max []float64 }
	for range 5 {
		began := time.Now()
		text := get(base + query)
		best, size = min(best, time.Since(began)), len(text)
		if err := json.Unmarshal([]byte(text), &answer); err != nil {
			t.Fatalf("%v: %.200s", err, text)
		}
	}
	t.Logf("two years of one signal out of %d blocks: %d points, %d bytes, %v", blocks, len(answer.At), size, best.Round(100*time.Microsecond))
	if n := len(answer.At); n < 950 || n > 1000 {
		t.Errorf("%d points", n)
	}
	if low, high := answer.Min[10], answer.Max[10]; math.Abs(low-7e6) > 1e4 || math.Abs(high-7e6) > 1e4 {
		t.Errorf("a point is from %v to %v", low, high)
	}
}

func TestPageLooksBackInSeconds(t *testing.T) {
	_, base := openPage(t)
	eventually(t, "three seconds of history", func() bool {
		now := time.Now()
		var answer struct {
			At   []float64
			Span float64 `json:"span_s"`
		}
		text := get(fmt.Sprintf("%s/api/v1/pump/gp-1/trend?signal=motor_speed&points=60&from=%d&to=%d", base, now.Add(-time.Minute).Unix(), now.Unix()+1))
		return json.Unmarshal([]byte(text), &answer) == nil && len(answer.At) >= 3 && answer.Span == 1
	})
}

func TestPageOrdersLandInTheJournalWithTheirUser(t *testing.T) {
	g, base := openPage(t)
	if err := web.AddUser(g.config.Page.UsersFile, "tess", web.Technician, "seven-long-pipes"); err != nil {
		t.Fatal(err)
	}
	if want := filepath.Join(filepath.Dir(g.config.Store.Path), "users"); g.config.Page.UsersFile != want {
		t.Errorf("users are in %s, want %s", g.config.Page.UsersFile, want)
	}
	jar, _ := cookiejar.New(nil) // never fails
	client := &http.Client{Jar: jar}
	post := func(path string, form url.Values) string {
		t.Helper()
		answer, err := client.PostForm(base+path, form)
		if err != nil {
			t.Fatal(err)
		}
		defer answer.Body.Close()
		var b strings.Builder
		if _, err := fmt.Fprint(&b, answer.Status, " "); err != nil {
			t.Fatal(err)
		}
		if err := answer.Write(&b); err != nil {
			t.Fatal(err)
		}
		return b.String()
	}
	body := post("/login", url.Values{"user": {"tess"}, "password": {"seven-long-pipes"}, "to": {"/service"}})
	token := regexp.MustCompile(`name="token" value="([A-Z2-7]+)"`).FindStringSubmatch(body)
	if token == nil {
		t.Fatalf("no token after signing in: %.300s", body)
	}
	task := g.config.Pumps[0].Rules.Tasks[0].Name
	record := url.Values{"token": {token[1]}, "verb": {"record_service"}, "job": {"gp-1/" + task}, "comment": {"2.5 L in"}, "found": {"dark"}, "id": {"one"}, "back": {"/service"}}
	if body := post("/orders", record); !strings.Contains(body, "Done: ") {
		t.Errorf("recorded: %.2000s", body)
	}
	if body := post("/orders", record); !strings.Contains(body, "Refused: ") {
		t.Errorf("the same form again: %.2000s", body)
	}
	undo := url.Values{"token": {token[1]}, "verb": {"record_service"}, "pump": {"gp-1"}, "undoes": {"1"}, "comment": {"wrong pump"}, "back": {"/service"}}
	if body := post("/orders", undo); !strings.Contains(body, "Done: ") || !strings.Contains(body, "taken back") {
		t.Errorf("taken back: %.2000s", body)
	}
	lines, err := g.journal(t.Context(), journalQuery{Pump: "gp-1", Alarm: "service_recorded"})
	if err != nil || len(lines) != 2 {
		t.Fatalf("%d entries, %v", len(lines), err)
	}
	if e := lines[1].Event; e.User != "tess" || e.Service == nil || e.Service.Entry.Found != "dark" || e.Comment != "2.5 L in" || e.CommandID != "page-one" {
		t.Errorf("the record: %+v", e)
	}
	if e := lines[0].Event; e.User != "tess" || e.Service.Entry.Undoes != 1 {
		t.Errorf("the undoing: %+v", e)
	}
}

func TestPageShowsRawWordsOfEveryPoint(t *testing.T) {
	_, base := openPage(t)
	type bus struct {
		Buses []struct {
			Devices []struct {
				Device string
				Points []struct {
					Point string
					Words []uint16
					Value *float64
				}
			}
		}
	}
	eventually(t, "words of every point", func() bool {
		var b bus
		if json.Unmarshal([]byte(get(base+"/api/v1/bus")), &b) != nil || len(b.Buses) != 1 || len(b.Buses[0].Devices) != 2 {
			return false
		}
		for _, d := range b.Buses[0].Devices {
			for _, p := range d.Points {
				if len(p.Words) == 0 || p.Value == nil {
					return false
				}
			}
		}
		return true
	})
}
