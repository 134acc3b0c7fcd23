package main

import (
	"maps"
	"math"
	"net/url"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"pumpside/simulator"
)

// checkMetrics lets promtool judge a page: any finding is an error.
func checkMetrics(t *testing.T, page string) {
	t.Helper()
	if page == "" {
		t.Fatal("no page")
	}
	c := exec.Command(need(t, "promtool"), "check", "metrics")
	c.Stdin = strings.NewReader(page)
	if out, err := c.CombinedOutput(); err != nil || len(out) > 0 {
		t.Errorf("promtool check metrics: %v\n%s", err, out)
	}
}

// A prometheus is a real server that scrapes one address every second.
type prometheus struct{ address string }

func startPrometheus(t *testing.T, target string) prometheus {
	t.Helper()
	folder := t.TempDir()
	config, address := filepath.Join(folder, "prometheus.yml"), freeAddress(t)
	writeFile(t, config, "global: {scrape_interval: 1s, scrape_timeout: 1s}\nscrape_configs:\n  - {job_name: pumpside, static_configs: [{targets: ['"+target+"']}]}\n")
	if out, err := exec.Command(need(t, "promtool"), "check", "config", config).CombinedOutput(); err != nil {
		t.Fatalf("promtool check config: %v\n%s", err, out)
	}
	start(t, need(t, "prometheus"), "--config.file="+config, "--storage.tsdb.path="+filepath.Join(folder, "data"), "--web.listen-address="+address)
	return prometheus{address}
}

// query asks for an instant vector: a value by its labels but the scraper's
// own, joined by commas.
func (p prometheus) query(t *testing.T, text string) map[string]float64 {
	t.Helper()
	body := get("http://" + p.address + "/api/v1/query?query=" + url.QueryEscape(text))
	if body == "" {
		return nil // not ready yet
	}
	var answer struct {
		Data struct {
			Result []struct {
				Metric map[string]string
				Value  [2]any
			}
		}
	}
	decode(t, body, &answer)
	vector := map[string]float64{}
	for _, r := range answer.Data.Result {
		var labels []string
		for _, name := range []string{"pump", "alarm"} {
			if v, has := r.Metric[name]; has {
				labels = append(labels, v)
			}
		}
		number, _ := r.Value[1].(string)
		vector[strings.Join(labels, ",")], _ = strconv.ParseFloat(number, 64)
	}
	return vector
}

func TestPrometheusAnswersWhatAControlRoomAsks(t *testing.T) {
	if testing.Short() {
		t.Skip("starts a Prometheus server")
	}
	t.Parallel()
	need(t, "prometheus")
	p := newPlant(t, running(1), standing(2), running(3))
	// gp-2 stands, with 100 h behind it as gp-1 and gp-3.
	config := p.configure(t, skidSite{Save: "1 s"}, "    counting:", "    opening: {run_hours: 100 h}\n    counting:")
	_, metrics := startAgent(t, config)
	p.happen(t, 2, simulator.Event{Do: simulator.DriveTrip, Size: 7}) // gp-3 runs no more
	server := startPrometheus(t, metrics)

	for _, question := range []struct {
		what, query string
		want        map[string]float64
		within      float64 // of each value
	}{
		{"which pumps run", `pumpside_running == 1`, map[string]float64{"gp-1": 1}, 0},
		{"run hours of each pump", `pumpside_run_seconds_total / 3600`, map[string]float64{"gp-1": 100, "gp-2": 100, "gp-3": 100}, 0.1},
		{"what nobody has acknowledged", `pumpside_alarm_unacknowledged == 1`, map[string]float64{"gp-3,drive_fault": 1}, 0},
		{"which pumps gained run time", `increase(pumpside_run_seconds_total{pump!="gp-3"}[1m]) > bool 0`, map[string]float64{"gp-1": 1, "gp-2": 0}, 0},
		{"whether the scrape works", `up`, map[string]float64{"": 1}, 0},
	} {
		var got map[string]float64
		eventually(t, question.what, func() bool {
			got = server.query(t, question.query)
			return maps.EqualFunc(got, question.want, func(a, b float64) bool { return math.Abs(a-b) <= question.within })
		})
		t.Logf("%s: %s gives %v", question.what, question.query, got)
	}

	// Acknowledged, it is no longer among them.
	ask(t, "alarms", "ack", "gp-3/drive_fault", "--config", config)
	eventually(t, "nothing unacknowledged is left", func() bool {
		got := server.query(t, `pumpside_alarm_unacknowledged == 1`)
		return got != nil && len(got) == 0
	})
	checkMetrics(t, get("http://"+metrics+"/metrics"))
	if got := get("http://" + metrics + "/healthz"); got != "ok\n" {
		t.Errorf("/healthz gives %q", got)
	}
	if got := get("http://" + metrics + "/readyz"); got != "ok\n" {
		t.Errorf("/readyz gives %q", got)
	}
	if got := get("http://" + metrics + "/"); got != "" {
		t.Errorf("/ gives %q, want nothing", got)
	}
}
