package configs

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"pumpside/drivers/modbus"
	"pumpside/drivers/regmap"
)

// deviceFacts are what the loader must remember of a device.
type deviceFacts struct {
	pointOf map[string]int // by name
	good    []bool         // by point: understood, so that more can be said of it
}

// A pointRef names a point by its places.
type pointRef struct{ device, point int }

func (l *loader) devices() {
	l.deviceOf = map[string]int{}
	names := l.newIDs()
	type address struct {
		bus  int
		unit int
	}
	taken := map[address]int{}
	for i := range l.file.Devices {
		f, here := &l.file.Devices[i], at("devices").item(i)
		names.add(here.child("id"), f.ID)
		if _, known := l.deviceOf[f.ID]; !known {
			l.deviceOf[f.ID] = i
		}
		d := l.device(here, f)
		if j, twice := taken[address{d.Bus, f.Unit}]; twice && d.Bus >= 0 {
			l.wrong(orHere(l, here, "unit"), "unit %d of bus %s is device %s already; put the points of both under one of them", f.Unit, f.Bus, l.file.Devices[j].ID)
		} else {
			taken[address{d.Bus, f.Unit}] = i
		}
		l.config.Devices = append(l.config.Devices, d)
	}
	if len(l.file.Devices) == 0 {
		l.wrong(at("devices"), "is empty; list at least one device")
	}
}

// orHere is the place of a key, or of the block when the key is left out.
func orHere(l *loader, here *place, key string) *place {
	if node, _ := l.find(here.child(key)); node != nil {
		return here.child(key)
	}
	return here
}

func (l *loader) device(here *place, f *deviceFile) Device {
	d := Device{
		ID: f.ID, Bus: l.busNamed(here.child("bus"), f.Bus), Unit: byte(f.Unit),
		Routine: f.Read.Routine, Slow: f.Read.Slow, FastFor: f.Read.FastFor, FastEvery: f.Read.FastEvery,
	}
	l.unit(here.child("unit"), d.Bus, f.Unit)
	l.beats(here.child("read"), &f.Read)
	d.Map.Unreadable = l.unreadable(here.child("unreadable"), f.Unreadable)
	facts := deviceFacts{pointOf: make(map[string]int, len(f.Points)), good: make([]bool, len(f.Points))}
	kind := l.profileNamed(here.child("profile"), f.Profile)
	for j := range f.Points {
		p, ok := l.point(here, j, f, kind)
		facts.good[j] = ok
		if _, known := facts.pointOf[p.Name]; !known {
			facts.pointOf[p.Name] = j
		}
		d.Map.Points = append(d.Map.Points, p)
	}
	l.doubtDocument(here, f)
	l.devs = append(l.devs, facts)
	l.rows(here, f, &d.Map, facts.good)
	if len(f.Points) == 0 {
		l.wrong(here.child("points"), "is empty; list the points to read")
	}
	return d
}

func (l *loader) busNamed(here *place, id string) int {
	i, ok := l.busOf[id]
	switch {
	case ok:
		return i
	case !l.isSpoilt(at("buses")):
		l.wrong(here, "there is no bus %q; %s", id, oneOf(id, sortedKeys(l.busOf)))
	}
	return -1
}

func (l *loader) unit(here *place, bus, unit int) {
	least, most, wire := 0, 255, "Modbus TCP"
	if bus >= 0 && l.config.Buses[bus].Settings.Kind != modbus.TCP {
		least, most, wire = 1, 247, "a serial line"
	}
	if unit < least || unit > most {
		l.wrong(here, "%d is no unit number; %s has %d to %d", unit, wire, least, most)
	}
}

func (l *loader) beats(here *place, f *readFile) {
	l.between(here.child("routine"), f.Routine, 50*time.Millisecond, time.Hour)
	l.between(here.child("slow"), f.Slow, 50*time.Millisecond, 24*time.Hour)
	if f.Slow < f.Routine {
		l.wrong(here.child("slow"), "%s is shorter than routine, %s; slow is for what changes in minutes", span(f.Slow), span(f.Routine))
	}
	if f.FastFor < 0 || f.FastFor > f.FastEvery {
		l.wrong(here.child("fast_for"), "%s does not fit into fast_every, %s", span(f.FastFor), span(f.FastEvery))
	}
}

func (l *loader) unreadable(here *place, list []rangeFile) (spans []regmap.Span) {
	for i, r := range list {
		table, err := regmap.ParseTable(r.Table)
		switch {
		case err != nil: // told already
		case r.First < 0 || r.Last > 65535 || r.First > r.Last:
			l.wrong(here.item(i), "%d to %d is no range of addresses; write first and last, from 0 to 65535", r.First, r.Last)
		default:
			// All 65536 addresses do not fit a count, and then nothing could be read.
			spans = append(spans, regmap.Span{Table: table, First: uint16(r.First), Count: uint16(min(r.Last-r.First+1, 65535))})
		}
	}
	return spans
}

// fileKeys are the file's names for the keys of a register map that have
// another one there.
var fileKeys = map[string]string{"valid": "range", "class": "read"}

// rows tells what is wrong with the rows by themselves and between them.
func (l *loader) rows(here *place, f *deviceFile, m *regmap.Map, good []bool) {
	understood := slices.Clone(good)
	for _, found := range m.Problems() {
		twice := found.Key == "name" && found.Point >= 0 && m.Points[found.Point].Name != ""
		if found.Point < 0 || !understood[found.Point] && !twice {
			continue // told already, or follows from what was
		}
		row := here.child("points").item(found.Point)
		key := cmp.Or(fileKeys[found.Key], found.Key)
		if key == "address" && f.Points[found.Point].Doc != "" {
			key = "doc"
		}
		l.wrong(row.child(key), "%s", strings.ReplaceAll(found.Text, "points[", here.child("points").String()+"["))
		good[found.Point] = false
	}
}
