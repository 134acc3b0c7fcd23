package page

import (
	"fmt"
	"math"
	"net/url"
	"strconv"
	"strings"
	"time"

	"pumpside/drivers"
)

// formTime is how a browser writes a date with a time.
const formTime = "2006-01-02T15:04"

// addService reads what a form says was done. Pump and task come in one field,
// so that one touch chooses both.
func (o *order) addService(f url.Values) error {
	if job := f.Get("job"); job != "" {
		o.Pump, o.Task, _ = strings.Cut(job, "/")
	}
	text := func(key string) string { return strings.TrimSpace(f.Get(key)) }
	e := &drivers.ServiceEntry{
		Task: o.Task, Action: text("action"), Found: text("found"), Reason: text("reason"), Side: text("side"), By: text("by"), Order: text("order"),
		ElectricalWork: f.Has("electrical_work"), RotationConfirmed: f.Has("rotation_confirmed"), LineChanged: f.Has("line_changed"), HydraulicEnd: f.Has("hydraulic_end"),
	}
	if name := text("part"); name != "" {
		e.Parts = []drivers.ServicePart{{Name: name, Number: text("part_number"), Serial: text("part_serial"), Batch: text("part_batch")}}
	}
	o.Service = e
	if err := addPlaces(e, f); err != nil {
		return err
	}
	return addNumbers(e, f)
}

// addPlaces reads the place of the work, and that of the part it was swapped
// with.
func addPlaces(e *drivers.ServiceEntry, f url.Values) error {
	var other int
	for key, to := range map[string]*int{"undoes": &e.Undoes, "cylinder": &e.Cylinder, "other_cylinder": &other} {
		if text := f.Get(key); text != "" {
			n, err := strconv.Atoi(text)
			if err != nil {
				return fmt.Errorf("%s is %s; want a whole number", spaced(key), quoted(text))
			}
			*to = n
		}
	}
	if side := f.Get("other_side"); other != 0 || side != "" {
		e.Swapped = &drivers.ServicePlace{Cylinder: other, Side: side}
	}
	return nil
}

// addNumbers reads amounts; a comma is as good as a point.
func addNumbers(e *drivers.ServiceEntry, f url.Values) error {
	var panel float64
	for key, to := range map[string]*float64{"panel_hours": &panel, "oil_added": &e.Added, "oil_changed": &e.Filled, "labour_hours": &e.Labour, "downtime_hours": &e.Downtime} {
		text := f.Get(key)
		if text == "" {
			continue
		}
		x, err := strconv.ParseFloat(strings.ReplaceAll(text, ",", "."), 64)
		if err != nil || math.IsNaN(x) || math.IsInf(x, 0) {
			return fmt.Errorf("%s is %s; want a number", spaced(key), quoted(text))
		}
		*to = x
		if key == "panel_hours" {
			e.PanelHours = &panel
		}
	}
	return nil
}

// setTime puts the time of the work, which a person wrote in the zone of the
// site, into the order. Without one the work was done now.
func (o *order) setTime(text string, zone *time.Location) error {
	if text == "" || o.Service == nil {
		return nil
	}
	at, err := time.ParseInLocation(formTime, text, zone)
	if err != nil {
		return fmt.Errorf("the time of the work is %s; want such as 2026-03-01T14:30", quoted(text))
	}
	o.Service.At = at.UTC()
	return nil
}
