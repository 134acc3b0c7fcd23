package prom

import (
	"net/http"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"
)

// Health tells what /healthz and /readyz answer: nil is well, an error says
// what is not.
type Health struct {
	Ready func() error // polling and storing make progress
}

// Handler serves /metrics, /healthz and /readyz, GET and HEAD only, and
// nothing else.
func Handler(view func() View, health Health) http.Handler {
	process := prometheus.NewRegistry()
	process.MustRegister(collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	mux := http.NewServeMux()
	mux.Handle("GET /metrics", promhttp.HandlerFor(Gatherer{View: view, Process: process}, promhttp.HandlerOpts{
		MaxRequestsInFlight: 2,
		Timeout:             5 * time.Second,
		EnableOpenMetrics:   true,
	}))
	mux.HandleFunc("GET /healthz", func(w http.ResponseWriter, _ *http.Request) { answer(w, nil) })
	mux.HandleFunc("GET /readyz", func(w http.ResponseWriter, _ *http.Request) { answer(w, health.Ready()) })
	return mux
}

func answer(w http.ResponseWriter, err error) {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	if err != nil {
		w.WriteHeader(http.StatusServiceUnavailable)
		_, _ = w.Write([]byte(err.Error() + "\n"))
		return
	}
	_, _ = w.Write([]byte("ok\n"))
}
