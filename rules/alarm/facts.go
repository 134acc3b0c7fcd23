package alarm

import (
	"cmp"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"pumpside/drivers"
	"pumpside/drivers/quantity"
)

// A Site is what the words need besides the event: names the installer gave,
// and who reads.
type Site struct {
	Name     string // of the site
	Group    string // of a group's alarm
	Pump     string // "" for an alarm of the site or a group
	Tag      string // plant tag
	Location string // where to go
	Hazards  string // the site's own, such as "sour gas"
	Units    Units
	Tags     map[string]string // what people call the pumps of the site, by id
	Along    []string          // tags of the other pumps that have the event's signal from the same point

	Route      Route    // of the event
	Subject    string   // words for the event's Subject, when it has some
	DriveFault string   // the drive's fault in words
	Parts      []string // of the kits configured for it; nil takes the catalogue's hint
}

// A Route is who is called for an event, by the site's rota. It only routes:
// no alarm is silenced by it. The zero Route is none.
type Route struct {
	Call          string        // who is called, as the alarm desk knows them: on call by the rota, or next at an escalation
	Quiet         bool          // it is in the site's quiet hours
	EscalateTo    string        // who is called when nobody acknowledges this
	EscalateAfter time.Duration // for so long; 0 for never
}

// facts answers the tokens of the catalogue's sentences for one event.
type facts struct {
	e     *Event
	site  *Site
	brief bool // a message that comes again says so in one word
}

func (f facts) token(name string) (string, bool) {
	e := f.e
	switch name {
	case "duration":
		return Span(e.Duration), e.Duration > 0
	case "value":
		v, _ := f.numbers()
		return v, e.Value != nil
	case "limit":
		_, l := f.numbers()
		return l, e.Limit != nil
	case "signal":
		return f.signal(), true
	case "subject":
		return f.subject(), e.Subject != ""
	case "fault":
		return f.fault()
	case "reason":
		return found(reasonWords, e.Reason.String())
	case "explain":
		return found(explanations, e.Reason.String())
	case "cause":
		return f.cause()
	case "count":
		return f.count()
	}
	if step, ok := f.step(name); ok {
		return step, true
	}
	return f.seen(name)
}

// seen gives the number of the evidence with that key.
func (f facts) seen(key string) (string, bool) {
	for _, one := range f.e.Evidence {
		if one.Key == key {
			return f.figure(one), true
		}
	}
	return "", false
}

// figure writes the number of an evidence. What a meter reads has the
// dimension of the meter's signal.
func (f facts) figure(one Evidence) string {
	if meter, ok := drivers.SignalNamed(f.e.Subject); ok && one.Dimension == quantity.None && strings.HasPrefix(one.Key, "meter_") {
		one.Dimension = meter.Info().Dimension
	}
	if strings.HasSuffix(one.Key, "_in") && one.Dimension == quantity.Duration { // days make a trend
		return fmt.Sprintf("%.0f days", one.Value/86400)
	}
	return f.site.Units.write(one.Quantity, manner{name: one.Key})
}

func found(table map[string]string, key string) (string, bool) {
	words, ok := table[key]
	return words, ok
}

func (f facts) numbers() (value, limit string) {
	u, how := f.site.Units, f.manner()
	switch {
	case f.e.Value != nil && f.e.Limit != nil:
		return u.pair(f.reading(), *f.e.Limit, how)
	case f.e.Value != nil:
		return u.write(f.reading(), how), ""
	case f.e.Limit != nil:
		return "", u.write(*f.e.Limit, how)
	}
	return "", ""
}

// reading is the value as it is to be read: what is used up of an interval is
// rounded down, so that nothing reads 100 % before it is due.
func (f facts) reading() Quantity {
	q := *f.e.Value
	if strings.HasSuffix(f.e.Text, "_due_soon") && q.Value < 1 {
		const slack = 1e-9 // 0.29 times 100 is not quite 29
		q.Value = math.Floor(100*q.Value+slack) / 100
	}
	return q
}

// manner is how value and limit are to be written: a rate or a difference is
// no temperature of its own.
func (f facts) manner() manner {
	return manner{
		name:       f.e.Signal.String(),
		difference: strings.HasPrefix(f.e.Text, "signal_deviates"),
		perMinute:  f.e.Text == "signal_rising" || f.e.Text == "signal_falling",
	}
}

func (f facts) signal() string {
	if _, own := f.e.Signal.AuxiliaryIndex(); own && f.e.Subject != "" {
		return f.subject()
	}
	if f.e.Signal == drivers.NoSignal {
		return "value"
	}
	return spaced(f.e.Signal.String())
}

func (f facts) subject() string {
	if f.site.Subject != "" {
		return f.site.Subject
	}
	names := strings.Split(f.e.Subject, " and ")
	for i, one := range names { // several pumps are told by their tags
		names[i] = cmp.Or(f.site.Tags[one], spaced(one))
	}
	return strings.Join(names, " and ")
}

func (f facts) fault() (string, bool) {
	switch {
	case f.site.DriveFault != "":
		return f.site.DriveFault, true
	case f.e.DriveFaultCode != 0:
		return "code " + strconv.Itoa(f.e.DriveFaultCode), true
	}
	return "", false
}

func (f facts) cause() (string, bool) {
	if len(f.e.Causes) == 0 {
		return "", false
	}
	return CauseWords(f.e.Causes[0]), true
}

// count is the event's value, or its first evidence, when that is a number
// without unit.
func (f facts) count() (string, bool) {
	if v := f.e.Value; v != nil && v.Dimension == quantity.None {
		return f.site.Units.Figure(*v), true
	}
	if len(f.e.Evidence) > 0 && f.e.Evidence[0].Dimension == quantity.None {
		return f.site.Units.Figure(f.e.Evidence[0].Quantity), true
	}
	return "", false
}

// evidence lists the facts that speak for the event, each with its number and
// unit.
func (f facts) evidence() []string {
	var list []string
	value, limit := f.numbers()
	switch {
	case value != "" && limit != "":
		list = append(list, fmt.Sprintf("%s %s, limit %s", f.measured(), value, limit))
	case value != "":
		list = append(list, f.measured()+" "+value)
	}
	for _, one := range f.e.Evidence {
		sentence, several := evidenceSentences[one.Key]
		switch {
		case !several:
			list = append(list, evidenceWords(one.Key)+" "+f.figure(one))
		case sentence != "":
			list = append(list, fill(sentence, f.token))
		}
	}
	for _, s := range spoken {
		for _, pump := range f.pumpsOf(s.alarm) {
			list = append(list, pump+": "+Title(s.alarm))
		}
	}
	if f.e.CarriedBy != "" {
		list = append(list, "called by "+f.e.CarriedBy+", which speaks for this one too")
	}
	if f.e.Quality != drivers.Good && f.e.Reason != drivers.ReasonNone {
		list = append(list, fmt.Sprintf("quality %v: %s", f.e.Quality, spaced(f.e.Reason.String())))
	}
	return list
}

// measured names what Value is the number of.
func (f facts) measured() string {
	switch how := f.manner(); {
	case how.perMinute:
		return f.signal() + ", change per minute:"
	case how.difference:
		return f.signal() + ", off its partner by"
	case f.e.Signal != drivers.NoSignal && f.e.Value.Dimension == f.dimensionOfSignal():
		return f.signal()
	case strings.HasPrefix(f.e.Text, "circulation_"):
		return "glycol flow of the group:"
	case f.e.Subject != "":
		return f.subject() + ":"
	}
	return Title(f.e.Text) + ":"
}

func (f facts) dimensionOfSignal() quantity.Dimension {
	if _, own := f.e.Signal.AuxiliaryIndex(); own {
		return f.e.Value.Dimension
	}
	return f.e.Signal.Info().Dimension
}

// notKnown lists what the reader must not take for granted.
func (f facts) notKnown(t Text) []string {
	var list []string
	if t.NotKnown != "" {
		list = append(list, t.NotKnown)
	}
	if !t.Circulation {
		return list
	}
	if f.e.PumpRunning == Unknown && f.site.Pump != "" {
		list = append(list, "Whether the pump runs.")
	}
	if f.e.GasFlowing == Unknown {
		list = append(list, "Whether gas flows.")
	}
	if f.e.Standby == "" || f.e.Standby == "unknown" {
		list = append(list, "Whether a standby pump is available.")
	}
	return list
}

// lastService says what was done last, how long ago and by whom.
func (f facts) lastService() string {
	if f.e.LastService == "" {
		return ""
	}
	text := fmt.Sprintf("%s, %s of running ago", spaced(f.e.LastService), hoursOf(f.e.SinceLastService.Seconds()))
	if f.e.LastServiceBy != "" {
		text += ", by " + f.e.LastServiceBy
	}
	return text
}

func ageOf(d time.Duration) string {
	if d < time.Second {
		return ""
	}
	return Span(d) + " old"
}
