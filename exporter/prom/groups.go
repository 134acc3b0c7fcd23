package prom

import (
	dto "github.com/prometheus/client_model/go"

	"pumpside/drivers"
	"pumpside/rules"
	"pumpside/rules/alarm"
	"pumpside/rules/site"
)

// modes shows on whose account each pump runs or stands, as a state set: one
// series for each mode there is, of which one is 1.
func (p *page) modes(pumps []*rules.Snapshot) {
	words := rules.Modes()
	f := newFamily(false, len(pumps)*len(words), 2)
	labels := make([]*dto.LabelPair, len(words))
	for i, m := range words {
		labels[i] = label("mode", m.String())
	}
	for _, s := range pumps {
		for i, m := range words {
			f.add(flag(s.Operation.Mode == m), labels[i], p.pump[s.Pump])
		}
	}
	p.put("mode", "1 for the mode the pump is in: on whose account it runs or stands.", f)
}

// A groupFamily is a family with one series a group.
type groupFamily struct {
	name    string
	help    string
	counter bool
	value   func(*site.GroupView) (float64, bool) // false: no series
}

func always(f func(*site.GroupView) float64) func(*site.GroupView) (float64, bool) {
	return func(v *site.GroupView) (float64, bool) { return f(v), true }
}

var groupFamilies = []groupFamily{
	{"circulation_wanted", "1 while glycol is wanted by demand, gas or habit; absent while nobody can tell.", false, func(v *site.GroupView) (float64, bool) { return known(v.Wanted) }},
	{"circulation_moves", "1 while as many pumps deliver as are required; absent while nobody can tell.", false, func(v *site.GroupView) (float64, bool) { return known(v.Moves) }},
	{"circulation_cubic_meters_per_second", "Glycol that all pumps of the group move together; absent when not known.", false, func(v *site.GroupView) (float64, bool) { return float64(v.Flow), v.FlowKnown }},
	{"circulation_target_cubic_meters_per_second", "Glycol that is to move, by the gas or by the setting; absent when not known.", false, func(v *site.GroupView) (float64, bool) {
		return float64(v.Target), v.TargetBy != "not_known" && v.TargetBy != ""
	}},
	{"circulation_target_cubic_meters_total", "What the targets have added up to.", true, always(func(v *site.GroupView) float64 { return float64(v.Needed.Volume) })},
	{"group_required_pumps", "Pumps that must deliver while glycol is wanted.", false, always(func(v *site.GroupView) float64 { return float64(v.Required) })},
	{"group_running_pumps", "Pumps known to run.", false, always(func(v *site.GroupView) float64 { return float64(v.Running) })},
	{"group_delivering_pumps", "Pumps known to deliver.", false, always(func(v *site.GroupView) float64 { return float64(v.Delivering) })},
}

// standbys are the states of what stands behind a circulation.
var standbys = []drivers.Standby{drivers.StandbyAvailable, drivers.StandbyRunning, drivers.StandbyNotAvailable, drivers.StandbyNone, drivers.StandbyUnknown}

// groups shows how the circulation of each group stands.
func (p *page) groups(groups []site.GroupView) {
	names := make([]*dto.LabelPair, len(groups))
	for i := range groups {
		names[i] = label("group", groups[i].Group)
	}
	for _, gf := range groupFamilies {
		f := newFamily(gf.counter, len(groups), 1)
		for i := range groups {
			if x, ok := gf.value(&groups[i]); ok {
				f.add(x, names[i])
			}
		}
		p.put(gf.name, gf.help, f)
	}
	f := newFamily(false, len(groups)*len(standbys), 2)
	for i := range groups {
		for _, s := range standbys {
			f.add(flag(groups[i].Behind() == s), names[i], label("standby", string(s)))
		}
	}
	p.put("group_standby", "1 for how the standby of the group stands.", f)
}

// standingAlarms shows what people are to hear of: active, and under no mark.
// It has a series only while that is so.
func (p *page) standingAlarms(pumps []*rules.Snapshot, own []alarm.View) {
	var list []standingAlarm
	add := func(pump string, views []alarm.View) {
		for i := range views {
			if v := &views[i]; v.State.Active() && v.Class != alarm.Record && suppressor(v) == nil {
				list = append(list, standingAlarm{p.pump[pump], v})
			}
		}
	}
	add("", own)
	for _, s := range pumps {
		add(s.Pump, s.Alarms)
	}
	f := newFamily(false, len(list), 6)
	for _, one := range list {
		v := one.view
		f.add(1, label("alarm", v.Name), label("class", v.Class.String()), label("notify", v.Notify.String()), priorityLabels[v.Priority], one.pump, label("responder", v.Responder.String()))
	}
	p.put("alarm_standing", "1 while the alarm is active and nothing holds it back, with who is to hear of it and when. Absent otherwise.", f)
}

type standingAlarm struct {
	pump *dto.LabelPair
	view *alarm.View
}
