package prom_test

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/promhttp"
	dto "github.com/prometheus/client_model/go"

	"pumpside/drivers"
	"pumpside/exporter/prom"
	"pumpside/rules"
	"pumpside/rules/alarm"
	"pumpside/rules/service"
)

// fleet is n pumps with 20 signals, 12 alarms and 4 tasks each.
func fleet(n int) func() prom.View {
	pumps := make([]*rules.Snapshot, n)
	for i := range pumps {
		s := &rules.Snapshot{Pump: fmt.Sprintf("gp-%03d", i), Running: alarm.Yes, Observed: true, Totals: rules.Totals{RunSeconds: float64(i) * 3600.25, Revolutions: 1e6 * float64(i)}}
		for signal := drivers.MotorSpeed; signal < drivers.MotorSpeed+20; signal++ {
			s.Signals = append(s.Signals, rules.SignalView{Signal: signal, Quality: drivers.Good, Value: float64(i) + 0.123*float64(signal)})
		}
		for a := range 12 {
			s.Alarms = append(s.Alarms, alarm.View{Name: fmt.Sprintf("alarm_%d", a)})
		}
		for k := range 4 {
			s.Tasks = append(s.Tasks, rules.TaskView{Task: fmt.Sprintf("task_%d", k), Life: service.Life{Used: 0.5, By: service.ByRunTime}})
		}
		pumps[i] = s
	}
	return func() prom.View { return prom.View{Pumps: pumps} }
}

// bare is the plain way: one const metric a series, made anew each scrape.
type bare struct {
	descs    []*prometheus.Desc
	families []*dto.MetricFamily
}

func newBare(g prometheus.Gatherer) *bare {
	families, _ := g.Gather()
	b := &bare{families: families}
	for _, f := range families {
		var names []string
		for _, l := range f.Metric[0].Label {
			names = append(names, l.GetName())
		}
		b.descs = append(b.descs, prometheus.NewDesc(f.GetName(), f.GetHelp(), names, nil))
	}
	return b
}

func (b *bare) Describe(ch chan<- *prometheus.Desc) {
	for _, d := range b.descs {
		ch <- d
	}
}

func (b *bare) Collect(ch chan<- prometheus.Metric) {
	for i, f := range b.families {
		for _, m := range f.Metric {
			labels := make([]string, len(m.Label))
			for k, l := range m.Label {
				labels[k] = l.GetValue()
			}
			if m.Counter != nil {
				ch <- prometheus.MustNewConstMetric(b.descs[i], prometheus.CounterValue, m.Counter.GetValue(), labels...)
			} else {
				ch <- prometheus.MustNewConstMetric(b.descs[i], prometheus.GaugeValue, m.Gauge.GetValue(), labels...)
			}
		}
	}
}

func scrape(b *testing.B, h http.Handler) time.Duration {
	request := httptest.NewRequest("GET", "/metrics", nil)
	start := time.Now()
	answer := httptest.NewRecorder()
	h.ServeHTTP(answer, request)
	if answer.Code != 200 {
		b.Fatal(answer.Code)
	}
	return time.Since(start)
}

// BenchmarkScrape500 scrapes 500 pumps through this package and through one
// const metric a series, in turn, and reports the ratio of the times.
func BenchmarkScrape500(b *testing.B) {
	g := prom.Gatherer{View: fleet(500)}
	ours := promhttp.HandlerFor(g, promhttp.HandlerOpts{})
	registry := prometheus.NewRegistry()
	registry.MustRegister(newBare(g))
	theirs := promhttp.HandlerFor(registry, promhttp.HandlerOpts{})
	var a, c time.Duration
	b.ReportAllocs()
	for b.Loop() {
		a += scrape(b, ours)
		c += scrape(b, theirs)
	}
	b.ReportMetric(a.Seconds()/c.Seconds(), "ratio")
	b.ReportMetric(a.Seconds()*1e3/float64(b.N), "ms/scrape")
}
