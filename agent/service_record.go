package main

import (
	"errors"
	"fmt"
	"os"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"pumpside/configs"
	"pumpside/drivers"
	"pumpside/drivers/quantity"
	"pumpside/rules/pump"
	"pumpside/rules/service"
)

func serviceRecord() *cobra.Command {
	c := &cobra.Command{
		Use:   "record [PUMP [TASK]]",
		Short: "Record what was done; in a terminal it asks for what is missing",
		Args:  cobra.MaximumNArgs(2),
	}
	config, asJSON := configFlag(c), c.Flags().Bool("json", false, "print JSON")
	f := recordFlags{}
	f.register(c)
	c.RunE = func(c *cobra.Command, args []string) error {
		entry, err := f.entry()
		if err != nil {
			return misuse{err}
		}
		id := ""
		if len(args) > 0 {
			id = args[0]
		}
		if len(args) == 2 {
			entry.Task = args[1]
		}
		asks := len(args) < 2 && !(len(args) == 1 && entry.AboutNoTask())
		if asks && !term.IsTerminal(int(os.Stdin.Fd())) {
			return misuse{errors.New("say which pump and which task: pumpside service record PUMP TASK; oil topped up and a note need no task")}
		}
		settings, err := loadConfig(*config)
		if err != nil {
			return err
		}
		if entry.At, err = whenAt(f.at, time.Now(), settings.Site.TimeZone); err != nil {
			return misuse{err}
		}
		if asks {
			if id, err = newAsker(c.InOrStdin(), c.OutOrStdout()).record(settings, id, &entry); err != nil {
				return err
			}
		}
		return enter(c, *config, settings, *asJSON, id, &entry)
	}
	return c
}

// enter gives an entry to the ledger. What can be seen to be wrong beforehand
// is refused here, by the same rules, and leaves no trace in the journal.
func enter(c *cobra.Command, config string, settings *configs.Config, asJSON bool, id string, e *drivers.ServiceEntry) error {
	return atBook(c, config, func(d desk, b serviceBook) error {
		if err := checkEntry(settings, &b, id, e); err != nil {
			return err
		}
		return giveAt(c, d, asJSON, order{Pump: id, Command: drivers.Command{Verb: drivers.RecordService, Task: e.Task, Comment: e.Note, Service: e}})
	})
}

func checkEntry(settings *configs.Config, b *serviceBook, id string, e *drivers.ServiceEntry) error {
	of, book := pumpOf(settings, id), b.pump(id)
	if of == nil || book == nil {
		return fmt.Errorf("there is no pump %q; the site has %s", id, strings.Join(pumpIDs(settings), ", "))
	}
	p := service.Pump{ID: id, Cylinders: of.Rules.Counters.Cylinders, Tasks: of.Rules.Tasks, Ledger: book.Ledger}
	if err := p.Check(*e, b.At); err != nil {
		return fmt.Errorf("refused: %w", err)
	}
	return nil
}

func pumpOf(settings *configs.Config, id string) *configs.Pump {
	for i := range settings.Pumps {
		if settings.Pumps[i].ID == id {
			return &settings.Pumps[i]
		}
	}
	return nil
}

func pumpIDs(settings *configs.Config) (ids []string) {
	for _, p := range settings.Pumps {
		ids = append(ids, p.ID)
	}
	return ids
}

func serviceUndo() *cobra.Command {
	c := &cobra.Command{
		Use:   "undo PUMP NUMBER",
		Short: "Take back a wrong record; both stay in the ledger",
		Args:  asUsed,
	}
	config := configFlag(c)
	note, asJSON := c.Flags().String("note", "", "why"), c.Flags().Bool("json", false, "print JSON")
	c.RunE = func(c *cobra.Command, args []string) error {
		n, err := strconv.Atoi(args[1])
		if err != nil || n < 1 {
			return misuse{fmt.Errorf("%q is no number of a record; see service list", args[1])}
		}
		settings, err := loadConfig(*config)
		if err != nil {
			return err
		}
		return enter(c, *config, settings, *asJSON, args[0], &drivers.ServiceEntry{Undoes: n, Note: *note})
	}
	return c
}

// recordFlags are the flags of a record, as they were written.
type recordFlags struct {
	entryOf                       drivers.ServiceEntry
	at, swapped, added, filled    string
	comment                       string
	labour, downtime              *time.Duration
	panel, hours, strokes         float64
	parts, before, after          []string
	hasPanel, hasHours, hasStroke func() bool
}

func (f *recordFlags) register(c *cobra.Command) {
	flags, e := c.Flags(), &f.entryOf
	flags.StringVar(&f.at, "at", "", "when it was done, by the site's time_zone: 2026-03-10 or \"2026-03-10 14:00\"; or RFC 3339; left out: now")
	flags.StringVar(&e.By, "by", "", "who did it, when not the one who records it")
	flags.StringVar(&e.Reason, "reason", "", "one of "+strings.Join(service.Reasons(), ", "))
	flags.StringVar(&e.Action, "action", "", "one of "+strings.Join(service.Actions(), ", "))
	flags.IntVar(&e.Cylinder, "cylinder", 0, "of which cylinder; left out: all")
	flags.StringVar(&e.Side, "side", "", "of which valve: suction or discharge; left out: both")
	flags.StringVar(&f.swapped, "swapped-with", "", "the other place, such as \"3 suction\"")
	flags.StringVar(&e.Found, "found", "", "state of the part before the work, one of "+strings.Join(service.Findings(), ", "))
	flags.Float64Var(&f.panel, "panel-hours", 0, "hour meter on the panel, as read")
	flags.Float64Var(&f.hours, "run-hours", 0, "run hours of the pump then, for work before the agent saw it")
	flags.Float64Var(&f.strokes, "strokes", 0, "strokes per plunger then, likewise")
	flags.StringVar(&f.added, "oil-added", "", "oil topped up, such as \"0.5 L\"")
	flags.StringVar(&f.filled, "oil-changed", "", "oil of a new filling, such as \"12 L\"")
	flags.StringVar(&e.Order, "order", "", "order number")
	f.labour = spanFlag(flags, "labour", 0, "work of all hands together, such as 1h30m")
	f.downtime = spanFlag(flags, "downtime", 0, "how long the pump could not run")
	flags.BoolVar(&e.ElectricalWork, "electrical-work", false, "motor, cable or drive were worked on")
	flags.BoolVar(&e.RotationConfirmed, "rotation-confirmed", false, "somebody saw it turn the right way")
	flags.BoolVar(&e.LineChanged, "line-changed", false, "pipe or dampener were changed")
	flags.BoolVar(&e.HydraulicEnd, "hydraulic-end", false, "the hydraulic end was repaired: its oil runs in again")
	flags.StringArrayVar(&f.parts, "part", nil, "what went in: \"NAME number=N serial=S batch=B quantity=2\"; may be repeated")
	flags.StringArrayVar(&f.before, "before", nil, "a reading as found: \"NAME=VALUE UNIT\"; may be repeated")
	flags.StringArrayVar(&f.after, "after", nil, "a reading as left, likewise")
	flags.StringVar(&e.Note, "note", "", "anything else")
	flags.StringVar(&f.comment, "comment", "", "the same as --note")
	f.hasPanel = func() bool { return flags.Changed("panel-hours") }
	f.hasHours = func() bool { return flags.Changed("run-hours") }
	f.hasStroke = func() bool { return flags.Changed("strokes") }
}

// entry reads what the flags say, but for the time: that is of the site's zone.
func (f *recordFlags) entry() (drivers.ServiceEntry, error) {
	e := f.entryOf
	var errs []error
	collect := func(err error) { errs = append(errs, err) }
	if e.Note == "" {
		e.Note = f.comment
	}
	var err error
	e.Added, err = litres(f.added)
	collect(err)
	e.Filled, err = litres(f.filled)
	collect(err)
	e.Swapped, err = parsePlace(f.swapped)
	collect(err)
	e.Before, err = parseReadings(f.before)
	collect(err)
	e.After, err = parseReadings(f.after)
	collect(err)
	e.Parts, err = parseParts(f.parts)
	collect(err)
	e.Labour, e.Downtime = f.labour.Hours(), f.downtime.Hours()
	for _, one := range []struct {
		to   **float64
		from *float64
		said bool
	}{{&e.PanelHours, &f.panel, f.hasPanel()}, {&e.RunHours, &f.hours, f.hasHours()}, {&e.Strokes, &f.strokes, f.hasStroke()}} {
		if one.said {
			*one.to = one.from
		}
	}
	return e, errors.Join(errs...)
}

// whenAt reads a date or a time of day in a zone, or RFC 3339. A date alone is
// noon of that day, today before noon it is now.
func whenAt(text string, now time.Time, zone *time.Location) (time.Time, error) {
	if text == "" {
		return time.Time{}, nil
	}
	for _, layout := range []string{time.RFC3339, "2006-01-02 15:04", time.DateOnly} {
		if t, err := time.ParseInLocation(layout, text, zone); err == nil {
			if noon := t.Add(12 * time.Hour); layout == time.DateOnly {
				if now.Before(noon) && !now.Before(t) {
					return now, nil
				}
				return noon, nil
			}
			return t, nil
		}
	}
	return time.Time{}, fmt.Errorf("%q is no time; write 2026-03-10, \"2026-03-10 14:00\" or RFC 3339", text)
}

func litres(text string) (float64, error) {
	if text == "" {
		return 0, nil
	}
	v, err := quantity.Parse(text, quantity.Volume)
	return v * 1000, err
}

// parsePlace reads "3 suction" or "3".
func parsePlace(text string) (*drivers.ServicePlace, error) {
	if text == "" {
		return nil, nil
	}
	cylinder, side, _ := strings.Cut(strings.TrimSpace(text), " ")
	n, err := strconv.Atoi(cylinder)
	if err != nil {
		return nil, fmt.Errorf("%q is no place; write the cylinder and the side, such as \"3 suction\"", text)
	}
	return &drivers.ServicePlace{Cylinder: n, Side: strings.TrimSpace(side)}, nil
}

func parseReadings(texts []string) (list []drivers.ServiceReading, err error) {
	for _, text := range texts {
		name, rest, found := strings.Cut(text, "=")
		number, unit, _ := strings.Cut(strings.TrimSpace(rest), " ")
		value, bad := strconv.ParseFloat(number, 64)
		if !found || bad != nil {
			return nil, fmt.Errorf("%q is no reading; write NAME=VALUE UNIT, such as \"discharge pressure=71.5 bar\"", text)
		}
		list = append(list, drivers.ServiceReading{Name: strings.TrimSpace(name), Value: value, Unit: strings.TrimSpace(unit)})
	}
	return list, nil
}

// parseParts reads a name followed by number=, serial=, batch= and quantity=.
func parseParts(texts []string) (list []drivers.ServicePart, err error) {
	for _, text := range texts {
		var p drivers.ServicePart
		fields := map[string]*string{"number": &p.Number, "serial": &p.Serial, "batch": &p.Batch}
		for word := range strings.FieldsSeq(text) {
			key, value, found := strings.Cut(word, "=")
			switch field := fields[key]; {
			case found && field != nil:
				*field = value
			case found && key == "quantity":
				if p.Quantity, err = strconv.ParseFloat(value, 64); err != nil {
					return nil, fmt.Errorf("part %q: quantity %q is no number", text, value)
				}
			default:
				p.Name = strings.TrimSpace(p.Name + " " + word)
			}
		}
		if p.Name == "" {
			return nil, fmt.Errorf("part %q has no name", text)
		}
		list = append(list, p)
	}
	return list, nil
}

// record asks for what an entry lacks most.
func (a *asker) record(settings *configs.Config, id string, e *drivers.ServiceEntry) (string, error) {
	ids := pumpIDs(settings)
	if id == "" {
		id = a.choose("Pump", ids, "")
	}
	of := pumpOf(settings, id)
	if of == nil {
		return id, fmt.Errorf("there is no pump %q; the site has %s", id, strings.Join(ids, ", "))
	}
	var names []string
	for _, t := range of.Rules.Tasks {
		names = append(names, t.Name)
	}
	if e.Task == "" {
		e.Task = a.choose("Task", names, "")
	}
	for _, t := range of.Rules.Tasks {
		if t.Name == e.Task {
			a.place(t.Positions, e)
		}
	}
	if e.At.IsZero() {
		zone := settings.Site.TimeZone
		e.At = answerTo(a, fmt.Sprintf("When (2026-03-10 14:00, %v; empty: now)", zone), func(text string) (time.Time, error) { return whenAt(text, time.Now(), zone) })
	}
	if e.Action == "" {
		e.Action = a.choose("Action", service.Actions(), service.Performed)
	}
	if e.Action == service.Swapped && e.Swapped == nil {
		e.Swapped = answerTo(a, "Swapped with, such as 3 suction", parsePlace)
	}
	if e.Reason == "" {
		e.Reason = a.choose("Reason", service.Reasons(), "")
	}
	if e.Found == "" {
		e.Found = a.choose("Found (empty: not looked at)", service.Findings(), "")
	}
	if e.PanelHours == nil {
		e.PanelHours = answerTo(a, "Hours on the panel (empty: not read)", optionalNumber)
	}
	if e.Added == 0 && e.Filled == 0 {
		e.Filled = answerTo(a, "Oil changed, such as 12 L (empty: none)", litres)
		e.Added = answerTo(a, "Oil topped up (empty: none)", litres)
	}
	if e.Note == "" {
		e.Note = a.line("Note")
	}
	return id, a.err
}

func (a *asker) place(positions []pump.Position, e *drivers.ServiceEntry) {
	if len(positions) == 0 || e.Cylinder != 0 || e.Side != "" {
		return
	}
	e.Cylinder = answerTo(a, "Cylinder (empty: all)", optionalInt)
	if positions[0].Side != 0 {
		e.Side = a.choose("Side (empty: both)", []string{"suction", "discharge"}, "")
	}
}

func optionalNumber(text string) (*float64, error) {
	if text == "" {
		return nil, nil
	}
	x, err := strconv.ParseFloat(text, 64)
	return &x, err
}

func optionalInt(text string) (int, error) {
	if text == "" {
		return 0, nil
	}
	return strconv.Atoi(text)
}
