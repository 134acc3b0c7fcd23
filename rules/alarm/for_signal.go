package alarm

import (
	"math"
	"slices"
	"time"

	"pumpside/drivers"
	"pumpside/drivers/quantity"
)

// SignalSettings is what a site sets for the alarms of one signal, in base
// units. A nil limit is not watched.
type SignalSettings struct {
	Signal    drivers.Signal
	Name      string             // of a site-named signal; "" takes the role's
	Dimension quantity.Dimension // of a site-named signal; a role has its own
	Span      float64            // width of the measuring range, for the deadband; 0 when not known

	Low, LowLow, High, HighHigh *float64

	FallsFaster, RisesFaster *float64      // per second, both above zero
	Over                     time.Duration // what the change is measured over; 0 for 60 s

	Against              drivers.Signal // the signal that is taken off for a deviation
	Above, Below         *float64       // limits of the difference
	State                *float64       // the state that is wrong, for a switch
	Deadband             *float64       // part of the span; nil for the default of the dimension
	ForLow, ForHigh      Change         // what else the alarms of a direction shall have
	Rate, Deviation, Bad Change
}

// SignalAlarms gives the definitions for what the settings watch: NAME_low,
// NAME_high, NAME_falling, NAME_rising, NAME_deviates_low and _high, NAME_on
// or NAME_off. That a signal is bad has a definition of its own: [SignalBad].
func SignalAlarms(s SignalSettings) []Definition {
	s = s.completed()
	var defs []Definition
	add := func(d Definition, c Change) { defs = append(defs, d.With(c)) }
	if s.Low != nil && !Pointless(s.Signal, false) {
		add(s.limit("low", Limit{High: false}, s.Low, s.LowLow), s.ForLow)
	}
	if s.High != nil && !Pointless(s.Signal, true) {
		add(s.limit("high", Limit{High: true}, s.High, s.HighHigh), s.ForHigh)
	}
	if s.FallsFaster != nil {
		falls := -*s.FallsFaster
		add(s.rate("falling", false, falls), s.Rate)
	}
	if s.RisesFaster != nil {
		add(s.rate("rising", true, *s.RisesFaster), s.Rate)
	}
	if s.Below != nil {
		add(s.deviation("deviates_low", Limit{High: false}, s.Below), s.Deviation)
	}
	if s.Above != nil {
		add(s.deviation("deviates_high", Limit{High: true}, s.Above), s.Deviation)
	}
	if s.State != nil {
		add(s.state(), Change{})
	}
	return defs
}

// SignalBad gives the advisory that a signal's value has been bad for other
// reasons than its device. name is that of a site-named signal, else "".
func SignalBad(signal drivers.Signal, name string) Definition {
	if name == "" {
		name = signal.String()
	}
	d := Standing("signal_bad")
	d.Name, d.Signal = topicName(name)+"_bad", signal
	if _, own := signal.AuxiliaryIndex(); own {
		d.Subject = name
	}
	return d
}

// Pointless reports whether a high or a low limit of the signal would say
// nothing: a counter passes every limit some day, and less leakage or a cooler
// heat sink is no alarm.
func Pointless(s drivers.Signal, high bool) bool {
	switch s {
	case drivers.DriveRunHours, drivers.GlycolVolume:
		return true
	case drivers.SealLeak, drivers.DriveHeatsinkTemperature:
		return !high
	}
	return false
}

func (s SignalSettings) completed() SignalSettings {
	if _, own := s.Signal.AuxiliaryIndex(); !own {
		s.Name, s.Dimension = s.Signal.String(), s.Signal.Info().Dimension
	}
	if s.Over == 0 {
		s.Over = 60 * time.Second
	}
	return s
}

// base is what all alarms of the signal share.
func (s SignalSettings) base(suffix, text string) Definition {
	t := TuningOf(s.Dimension)
	d := Definition{
		Name: topicName(s.Name) + "_" + suffix, Text: text, Signal: s.Signal, Dimension: s.Dimension,
		Class: Alarm, Priority: Medium, WorsePriority: High, Responder: responderOf(s.Signal), Notify: Now,
		OnDelay: t.Delay, OffDelay: t.Delay,
	}
	if _, own := s.Signal.AuxiliaryIndex(); own {
		d.Subject = s.Name
	}
	if slices.Contains(slow, s.Signal) {
		d.Class, d.Priority, d.WorsePriority, d.Notify = Advisory, Low, Medium, NextWorkingDay
	}
	return d.timed()
}

func (s SignalSettings) limit(suffix string, l Limit, first, second *float64) Definition {
	text := s.Name + "_" + suffix
	if _, ok := TextOf(text); !ok || s.Signal >= drivers.FirstAuxiliary {
		text = "signal_" + suffix
	}
	d := s.base(suffix, text)
	d.Rule = Rule{By: ByValue, Limit: s.band(l, first, second)}
	if l.High {
		d.Blanking = TuningOf(s.Dimension).Blanking
	}
	s.rest(&d, suffix)
	return d
}

// rest gives a limit what the standing of a pump or its start must not raise.
func (s SignalSettings) rest(d *Definition, suffix string) {
	if suffix != "low" {
		return
	}
	switch s.Signal {
	case drivers.GlycolFlow:
		d.SuppressedBy, d.Blanking = PumpStopped|ColdStart, 120*time.Second
	case drivers.DischargePressure:
		d.SuppressedBy, d.Blanking = PumpStopped, 120*time.Second
	case drivers.MotorCurrent, drivers.MotorTorque, drivers.MotorPower, drivers.MotorSpeed, drivers.DriveFrequency:
		d.WhileRunning, d.Blanking = true, 60*time.Second
	}
}

func (s SignalSettings) rate(suffix string, high bool, limit float64) Definition {
	d := s.base(suffix, "signal_"+suffix)
	d.Rule = Rule{By: ByRate, Over: s.Over, Limit: Limit{High: high, First: limit, Deadband: math.Abs(limit) / 10}}
	return d
}

func (s SignalSettings) deviation(suffix string, l Limit, first *float64) Definition {
	text := "signal_" + suffix
	d := s.base(suffix, text)
	d.Rule = Rule{By: ByDeviation, Against: s.Against, Limit: s.band(l, first, nil)}
	return d
}

func (s SignalSettings) state() Definition {
	suffix := "off"
	if *s.State >= 0.5 {
		suffix = "on"
	}
	d := s.base(suffix, "switch_"+suffix)
	d.Rule = Rule{By: ByState, State: *s.State}
	return d
}

// band fills in the limits and the deadband. Without a span the deadband is a
// part of the first limit.
func (s SignalSettings) band(l Limit, first, second *float64) Limit {
	l.First = *first
	if second != nil {
		l.Two, l.Second = true, *second
	}
	span := s.Span
	if span == 0 {
		span = math.Abs(l.First)
	}
	part := TuningOf(s.Dimension).Deadband
	if s.Deadband != nil {
		part = *s.Deadband
	}
	l.Deadband = part * span
	if l.Two {
		l.Deadband = min(l.Deadband, math.Abs(l.Second-l.First))
	}
	return l
}

// mechanics are the signals whose limits call the mechanic; the others change
// with the process and call the control room.
var mechanics = []drivers.Signal{
	drivers.HydraulicOilTemperature, drivers.HydraulicOilLevel, drivers.SealLeak, drivers.DriveHeatsinkTemperature,
	drivers.StrainerDifferentialPressure, drivers.FilterDifferentialPressure,
}

// slow are the signals whose limits are maintenance: what they foretell shows
// in other alarms long before it does harm.
var slow = []drivers.Signal{
	drivers.SealLeak, drivers.StrainerDifferentialPressure, drivers.FilterDifferentialPressure, drivers.AmbientTemperature, drivers.DriveRunHours,
}

func responderOf(s drivers.Signal) Responder {
	if slices.Contains(mechanics, s) {
		return Mechanic
	}
	return ControlRoom
}
