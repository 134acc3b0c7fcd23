package page

import (
	"fmt"
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
func (o *order) addService(f url.Values) (err error) {
	if job := f.Get("job"); job != "" {
		o.Pump, o.Task, _ = strings.Cut(job, "/")
	}
	e := &drivers.ServiceEntry{
		Task: o.Task, Action: f.Get("action"), Found: f.Get("found"), Reason: f.Get("reason"), Side: f.Get("side"), By: strings.TrimSpace(f.Get("by")),
	}
	for key, to := range map[string]*int{"undoes": &e.Undoes, "cylinder": &e.Cylinder} {
		if text := f.Get(key); text != "" {
			if *to, err = strconv.Atoi(text); err != nil {
				return fmt.Errorf("%s is %s; want a whole number", key, quoted(text))
			}
		}
	}
	if text := f.Get("panel_hours"); text != "" {
		x, err := strconv.ParseFloat(strings.ReplaceAll(text, ",", "."), 64)
		if err != nil {
			return fmt.Errorf("the panel's hour meter is %s; want a number of hours", quoted(text))
		}
		e.PanelHours = &x
	}
	o.Service = e
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
