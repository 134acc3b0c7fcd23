package prom

import (
	dto "github.com/prometheus/client_model/go"
)

func (p *page) buses(devices []Device, buses []Bus) {
	reasons := 0
	for _, d := range devices {
		reasons += len(d.Failures)
	}
	up, requests, failures := newFamily(false, len(devices), 2), newFamily(true, len(devices), 2), newFamily(true, reasons, 3)
	durations := make([]*dto.Metric, 0, len(devices))
	for i := range devices {
		d := &devices[i]
		bus, device := label("bus", d.Bus), label("device", d.Device)
		up.add(flag(d.Up), bus, device)
		requests.add(float64(d.Requests), bus, device)
		for _, f := range d.Failures {
			failures.add(float64(f.Count), bus, device, label("reason", f.Label))
		}
		durations = append(durations, &dto.Metric{Label: []*dto.LabelPair{bus, device}, Histogram: histogram(&d.Durations)})
	}
	p.put("modbus_device_up", "1 while the device answers.", up)
	p.put("modbus_requests_total", "Requests sent to the device.", requests)
	p.put("modbus_request_failures_total", "Reads that gave no values, by reason; backoff and a connection that is refused sent no request.", failures)
	p.putHistogram("modbus_request_duration_seconds", "From the request leaving to the whole answer, of requests that were answered.", durations)
	load := newFamily(false, len(buses), 1)
	for _, b := range buses {
		load.add(b.Load, label("bus", b.Bus))
	}
	p.put("modbus_bus_load_ratio", "Share of the bus's time that was used over the last minute.", load)
}

func histogram(h *Histogram) *dto.Histogram {
	out := &dto.Histogram{SampleCount: &h.Count, SampleSum: &h.Sum, Bucket: make([]*dto.Bucket, len(h.Bounds))}
	for i := range h.Bounds {
		out.Bucket[i] = &dto.Bucket{UpperBound: &h.Bounds[i], CumulativeCount: &h.Buckets[i]}
	}
	return out
}

func (p *page) putHistogram(name, help string, series []*dto.Metric) {
	if len(series) == 0 {
		return
	}
	kind := dto.MetricType_HISTOGRAM
	p.families = append(p.families, &dto.MetricFamily{Name: new(prefix + name), Help: &help, Type: &kind, Metric: series})
}

func (p *page) agent(a Agent) {
	p.one("build_info", "Always 1; the labels say what runs.", false, 1, label("go_version", a.GoVersion), label("version", a.Version))
	p.one("config_info", "Always 1; the label is the hash of the configuration in force.", false, 1, label("hash", a.ConfigHash))
	p.one("clock_synchronized", "1 while the wall clock counts as right.", false, flag(a.ClockSynchronized))
	if a.MQTT == nil {
		return
	}
	p.one("mqtt_connected", "1 while the broker is connected.", false, flag(a.MQTT.Connected))
	p.one("outbox_messages", "Events waiting for the broker.", false, float64(a.MQTT.Outbox))
	if !a.MQTT.Oldest.IsZero() {
		p.one("outbox_oldest_timestamp_seconds", "Time of the oldest event waiting; absent when none waits.", false, float64(a.MQTT.Oldest.UnixMilli())/1e3)
	}
	p.one("outbox_dropped_total", "Events given up because the outbox was full.", true, float64(a.MQTT.Dropped))
}

func (p *page) one(name, help string, counter bool, value float64, labels ...*dto.LabelPair) {
	f := newFamily(counter, 1, len(labels))
	f.add(value, labels...)
	p.put(name, help, f)
}
