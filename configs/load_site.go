package configs

import (
	"maps"
	"net"
	"slices"
	"strconv"
	"time"
	_ "time/tzdata" // a small gateway may have no zone database

	"pumpside/rules/alarm"
	"pumpside/rules/site"
)

func (l *loader) site() {
	f, here := &l.file.Site, at("site")
	l.name(here.child("id"), f.ID)
	l.config.Site = Site{
		ID: f.ID, Title: orElse(f.Title, f.ID), Location: f.Location, Hazards: f.Hazards,
		TimeZone: l.zone(here.child("time_zone"), f.TimeZone), ClockTrusted: f.Clock == "trusted",
		EnergyPrice: f.Energy.Price, HeatPrice: f.Energy.HeatPrice, Currency: f.Energy.Currency,
	}
	if f.Energy.Price < 0 {
		l.wrong(here.child("energy").child("price_per_kwh"), "must not be below zero")
	}
	if f.Energy.HeatPrice < 0 {
		l.wrong(here.child("energy").child("heat_price_per_kwh"), "must not be below zero")
	}
	if f.Units == "us_field" {
		l.config.Site.Units = alarm.Field
	}
}

func (l *loader) zone(here *place, name string) *time.Location {
	zone, err := time.LoadLocation(name)
	if err != nil || name == "Local" || name == "" {
		l.wrong(here, "there is no time zone %q; write an IANA name such as Europe/Berlin, America/Denver or UTC", name)
		return time.UTC
	}
	return zone
}

// siteRules are about what the file names: buses and devices.
func (l *loader) siteRules() {
	set := site.Settings{Broker: l.file.MQTT != nil, Groups: l.groups, Escalate: l.file.Site.Calls.EscalateAfter}
	for _, p := range l.config.Pumps {
		if !slices.ContainsFunc(l.groups, func(g site.Group) bool { return slices.Contains(g.Pumps, p.ID) }) {
			set.Alone = append(set.Alone, p.ID)
		}
	}
	for _, b := range l.config.Buses {
		set.Buses = append(set.Buses, b.ID)
	}
	for _, d := range l.config.Devices {
		if d.Bus >= 0 {
			set.Devices = append(set.Devices, site.Device{ID: d.ID, Bus: l.config.Buses[d.Bus].ID})
		}
	}
	before := l.told
	plain, err := set.Checked()
	if err != nil && before == 0 { // else it follows from what was told
		l.reasons(at("site"), err)
	}
	if err != nil {
		return
	}
	change := l.changes(at("site").child("alarms"), l.file.Site.Alarms, plain.Definitions(), "is not an alarm of the site, its buses, devices or groups; those of a pump stand under the pump")
	set.Changes, set.Off = change.byName, change.off
	checked, err := set.Checked()
	l.reasons(at("site"), err)
	if err == nil {
		change.mustShow(checked.Definitions())
	}
	l.config.Rules = checked
}

// rest is what stands alone.
func (l *loader) rest() {
	f, c := l.file, l.config
	if f.Metrics.Listen != "off" {
		l.hostPort(at("metrics").child("listen"), f.Metrics.Listen, "127.0.0.1:9793, or off")
		c.Metrics.Listen = f.Metrics.Listen
	}
	l.page()
	c.Log = Log{Level: f.Log.Level, Console: f.Log.Format == "console"}
	c.Store = Store{Path: f.Store.Path, SaveInterval: f.Store.SaveInterval, JournalFor: f.Store.JournalFor}
	l.record()
	here := at("store")
	if c.Store.Path == "" {
		l.wrong(here.child("path"), "is empty; write where the state file is to be")
	}
	if n := len(c.Store.Path); n > longestPath {
		l.wrong(here.child("path"), "is %d bytes long; %d is the most, for a socket with a longer name lies beside the file", n, longestPath)
	}
	l.between(here.child("save_interval"), c.Store.SaveInterval, time.Second, time.Hour)
	l.between(here.child("seconds_for"), f.Store.SecondsFor, 0, day)
	l.between(here.child("journal_for"), c.Store.JournalFor, day, 20*365*day)
}

func (l *loader) record() {
	f, here := &l.file.Record, at("record")
	l.config.Record = Record{Folder: f.Folder, Most: int64(f.FileMB) * 1e6, Keep: f.Keep}
	if f.FileMB < 1 || f.FileMB > 1000 {
		l.wrong(here.child("file_mb"), "%d is not from 1 to 1000", f.FileMB)
	}
	if f.Keep < 2 || f.Keep > 1000 {
		l.wrong(here.child("keep"), "%d is not from 2 to 1000", f.Keep)
	}
}

const day = 24 * time.Hour

// longestPath leaves room for ".sock" in the name of a socket, 107 bytes on
// Linux (unix(7)).
const longestPath = 107 - len(".sock")

// between checks a time against the shortest and longest that make sense.
func (l *loader) between(here *place, d, least, most time.Duration) {
	if d < least || d > most {
		l.wrong(here, "%s is not from %s to %s", span(d), span(least), span(most))
	}
}

// span writes a time as the file does.
func span(d time.Duration) string {
	for _, unit := range []struct {
		size time.Duration
		name string
	}{{day, " d"}, {time.Hour, " h"}, {time.Minute, " min"}, {time.Second, " s"}, {time.Millisecond, " ms"}} {
		if d%unit.size == 0 && d != 0 {
			return strconv.FormatInt(int64(d/unit.size), 10) + unit.name
		}
	}
	return strconv.FormatFloat(d.Seconds(), 'g', 6, 64) + " s"
}

// hostPort checks host:port and says example when it is not right.
func (l *loader) hostPort(here *place, text, example string) {
	_, port, err := net.SplitHostPort(text)
	if err != nil {
		l.wrong(here, "%q is not host:port; write such as %s", text, example)
		return
	}
	if n, err := strconv.Atoi(port); err != nil || n < 0 || n > 65535 {
		l.wrong(here, "%q is not a port; write a number up to 65535, such as %s", port, example)
	}
}

func orElse[T comparable](v, otherwise T) T {
	var zero T
	if v == zero {
		return otherwise
	}
	return v
}

func sortedKeys[V any](m map[string]V) []string { return slices.Sorted(maps.Keys(m)) }
