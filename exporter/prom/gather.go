package prom

import (
	"cmp"
	"slices"
	"strconv"

	"github.com/prometheus/client_golang/prometheus"
	dto "github.com/prometheus/client_model/go"

	"pumpside/drivers"
	"pumpside/rules"
	"pumpside/rules/alarm"
)

const prefix = "pumpside_"

// A Gatherer turns one View into metric families on each scrape, and adds the
// families of Process.
type Gatherer struct {
	View    func() View         // safe to call from any goroutine
	Process prometheus.Gatherer // Go runtime and process; may be nil
}

// Gather implements prometheus.Gatherer. Families come in the order of their
// names.
func (g Gatherer) Gather() ([]*dto.MetricFamily, error) {
	v := g.View()
	p := newPage(v.Pumps)
	p.pumpFamilies(v.Pumps)
	p.signals(v.Pumps)
	p.condition(v.Pumps)
	p.services(v.Pumps)
	p.score(v.Pumps)
	p.oil(v.Pumps)
	p.alarms(v.Pumps, v.SiteAlarms)
	p.standingAlarms(v.Pumps, v.SiteAlarms)
	p.modes(v.Pumps)
	p.groups(v.Groups)
	p.buses(v.Devices, v.Buses)
	p.agent(v.Agent)
	families := p.families
	if g.Process != nil {
		process, err := g.Process.Gather()
		if err != nil {
			return nil, err
		}
		families = append(families, process...)
	}
	slices.SortFunc(families, func(a, b *dto.MetricFamily) int { return cmp.Compare(a.GetName(), b.GetName()) })
	return families, nil
}

// A page collects families. Label pairs of pumps are made once a page.
type page struct {
	families []*dto.MetricFamily
	pump     map[string]*dto.LabelPair
}

func newPage(pumps []*rules.Snapshot) *page {
	p := &page{pump: make(map[string]*dto.LabelPair, len(pumps)+1)}
	for _, s := range pumps {
		p.pump[s.Pump] = label("pump", s.Pump)
	}
	p.pump[""] = label("pump", "")
	return p
}

func label(name, value string) *dto.LabelPair {
	return &dto.LabelPair{Name: &name, Value: &value}
}

// A family is one metric family being filled. Its metrics, values and label
// slices live in three slabs, one allocation each.
type family struct {
	counter  bool
	metrics  []dto.Metric
	gauges   []dto.Gauge
	counters []dto.Counter
	values   []float64
	labels   []*dto.LabelPair
}

// newFamily has room for n series of width labels each.
func newFamily(counter bool, n, width int) *family {
	f := &family{counter: counter, metrics: make([]dto.Metric, 0, n), values: make([]float64, 0, n), labels: make([]*dto.LabelPair, 0, n*width)}
	if counter {
		f.counters = make([]dto.Counter, n)
	} else {
		f.gauges = make([]dto.Gauge, n)
	}
	return f
}

// add puts one series in; there must be room.
func (f *family) add(value float64, labels ...*dto.LabelPair) {
	i := len(f.metrics)
	f.metrics = f.metrics[:i+1]
	f.values = append(f.values, value)
	from := len(f.labels)
	f.labels = append(f.labels, labels...)
	m := &f.metrics[i]
	m.Label = f.labels[from:len(f.labels):len(f.labels)]
	if f.counter {
		f.counters[i].Value = &f.values[i]
		m.Counter = &f.counters[i]
	} else {
		f.gauges[i].Value = &f.values[i]
		m.Gauge = &f.gauges[i]
	}
}

// put adds f to the page when it has any series.
func (p *page) put(name, help string, f *family) {
	if len(f.metrics) == 0 {
		return
	}
	kind := dto.MetricType_GAUGE
	if f.counter {
		kind = dto.MetricType_COUNTER
	}
	series := make([]*dto.Metric, len(f.metrics))
	for i := range f.metrics {
		series[i] = &f.metrics[i]
	}
	p.families = append(p.families, &dto.MetricFamily{Name: new(prefix + name), Help: &help, Type: &kind, Metric: series})
}

func (p *page) pumpFamilies(pumps []*rules.Snapshot) {
	for _, pf := range pumpFamilies {
		f := newFamily(pf.counter, len(pumps), 1)
		for _, s := range pumps {
			if v, ok := pf.value(s); ok {
				f.add(v, p.pump[s.Pump])
			}
		}
		p.put(pf.name, pf.help, f)
	}
}

// signals has one family a role and one for all site-named signals. A bad
// value has no series.
func (p *page) signals(pumps []*rules.Snapshot) {
	var roles [drivers.SignalCount]*family
	sites := 0
	for _, s := range pumps {
		for i := range s.Signals {
			v := &s.Signals[i]
			switch {
			case v.Quality == drivers.Bad:
			case v.Signal >= drivers.FirstAuxiliary:
				sites++
			default:
				if roles[v.Signal] == nil {
					roles[v.Signal] = newFamily(false, len(pumps), 1)
				}
				roles[v.Signal].add(v.Value, p.pump[s.Pump])
			}
		}
	}
	for signal, f := range roles {
		if f != nil {
			name, help := signalFamily(drivers.Signal(signal))
			p.put(name, help, f)
		}
	}
	p.auxiliary(pumps, sites)
}

func (p *page) auxiliary(pumps []*rules.Snapshot, n int) {
	f := newFamily(false, n, 3)
	for _, s := range pumps {
		for i := range s.Signals {
			v := &s.Signals[i]
			if v.Signal >= drivers.FirstAuxiliary && v.Quality != drivers.Bad {
				f.add(v.Value, p.pump[s.Pump], label("signal", v.Name), label("unit", v.Dimension.Base()))
			}
		}
	}
	p.put("auxiliary_value", "The site's own signals, in the base unit named in the label. Absent when bad.", f)
}

// condition shows the orders of the discharge pressure and, while something has
// changed, what may be behind it. A cylinder that cannot be told is "".
func (p *page) condition(pumps []*rules.Snapshot) {
	orders, causes := 0, 0
	for _, s := range pumps {
		if s.Condition != nil {
			orders += len(s.Condition.Orders)
			causes += len(s.Condition.Causes)
		}
	}
	lines, likely := newFamily(false, orders, 2), newFamily(false, causes, 3)
	for _, s := range pumps {
		if s.Condition == nil {
			continue
		}
		for _, o := range s.Condition.Orders {
			lines.add(o.Amplitude, label("order", strconv.Itoa(o.Order)), p.pump[s.Pump])
		}
		for _, c := range s.Condition.Causes {
			cylinder := ""
			if c.Cylinder > 0 {
				cylinder = strconv.Itoa(c.Cylinder)
			}
			likely.add(c.Probability, label("cause", c.Cause), label("cylinder", cylinder), p.pump[s.Pump])
		}
	}
	p.put("pressure_order_pascals", "Amplitude of a line of the discharge pressure, by its number per revolution.", lines)
	p.put("cause_probability_ratio", "Probability of a cause while the pump has changed.", likely)
}

func (p *page) services(pumps []*rules.Snapshot) {
	n := 0
	for _, s := range pumps {
		n += len(s.Tasks)
	}
	used, due := newFamily(false, n, 2), newFamily(false, n, 2)
	for _, s := range pumps {
		for i := range s.Tasks {
			t := &s.Tasks[i]
			task := label("task", t.Task)
			if t.Life.By != "" {
				used.add(t.Life.Used, p.pump[s.Pump], task)
			}
			if at := t.Window.Due.Median; !at.IsZero() {
				due.add(float64(at.Unix()), p.pump[s.Pump], task)
			}
		}
	}
	p.put("service_used_ratio", "Share of a service task's interval that is used; 1 is due.", used)
	p.put("service_due_timestamp_seconds", "When a service task falls due, by the median forecast. Absent when nobody can tell.", due)
}

// score has a pump's series once anything was scored.
func (p *page) score(pumps []*rules.Snapshot) {
	f := newFamily(false, 5*len(pumps), 2)
	for _, s := range pumps {
		c := &s.Score
		if _, scored := c.Rate(); scored == 0 {
			continue
		}
		for _, row := range []struct {
			result string
			n      int
		}{{"right_place", c.Place}, {"right_head", c.Head}, {"right_side", c.Side}, {"wrong", c.Wrong}, {"nothing_wrong", c.Nothing}} {
			f.add(float64(row.n), p.pump[s.Pump], label("result", row.result))
		}
	}
	p.put("diagnosis_scored_records", "Service records by how the diagnosis did against what people found.", f)
}

// oil has a pump's series once there are enough top-ups.
func (p *page) oil(pumps []*rules.Snapshot) {
	const litresPer1000Hours = 1e-3 / (1000 * 3600) // m³/s
	f := newFamily(false, 2*len(pumps), 2)
	for _, s := range pumps {
		if u := s.OilUse; u != nil {
			f.add(u.Before*litresPer1000Hours, p.pump[s.Pump], label("span", "before"))
			f.add(u.Lately*litresPer1000Hours, p.pump[s.Pump], label("span", "lately"))
		}
	}
	p.put("oil_use_cubic_meters_per_second", "Hydraulic oil topped up per second of running: over the last three intervals between top-ups, and before.", f)
}

// alarms shows every configured alarm of class alarm or advisory; site alarms
// have pump="".
func (p *page) alarms(pumps []*rules.Snapshot, site []alarm.View) {
	n := len(site)
	for _, s := range pumps {
		n += len(s.Alarms)
	}
	active, unacknowledged, suppressed := newFamily(false, n, 3), newFamily(false, n, 2), newFamily(false, n, 3)
	add := func(pump *dto.LabelPair, a *alarm.View) {
		if a.Class == alarm.Record {
			return
		}
		name := label("alarm", a.Name)
		active.add(flag(a.State.Active()), name, priorityLabels[a.Priority], pump)
		unacknowledged.add(flag(a.State.NeedsAcknowledge()), name, pump)
		if by := suppressor(a); by != nil {
			suppressed.add(1, name, by, pump)
		}
	}
	for _, s := range pumps {
		for i := range s.Alarms {
			add(p.pump[s.Pump], &s.Alarms[i])
		}
	}
	for i := range site {
		add(p.pump[""], &site[i])
	}
	p.put("alarm_active", "1 while the condition behind the alarm holds.", active)
	p.put("alarm_unacknowledged", "1 while a person has yet to see the alarm.", unacknowledged)
	p.put("alarm_suppressed", "1 while the alarm is shelved, suppressed by design or out of service.", suppressed)
}

var priorityLabels = [...]*dto.LabelPair{
	alarm.Low: label("priority", "low"), alarm.Medium: label("priority", "medium"), alarm.High: label("priority", "high"),
}

var (
	byPerson  = label("by", "shelved")
	byDesign  = label("by", "design")
	byService = label("by", "out_of_service")
)

func suppressor(a *alarm.View) *dto.LabelPair {
	switch {
	case a.Removed:
		return byService
	case a.Shelved:
		return byPerson
	case a.SuppressedBy != "":
		return byDesign
	}
	return nil
}
