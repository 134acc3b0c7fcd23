package main

import (
	"crypto/rand"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"pumpside/configs"
	"pumpside/drivers"
	"pumpside/rules/service"
)

// atBook does work with all that is known of service.
func atBook(c *cobra.Command, config string, work func(desk, serviceBook) error) error {
	return atDesk(c.Context(), config, func(d desk) error {
		b, err := d.book(c.Context())
		if err != nil {
			return err
		}
		return work(d, b)
	})
}

// records lists those of one pump, or of all with "", oldest entry first.
func (b *serviceBook) records(pump string) (list []drivers.ServiceRecord) {
	for _, p := range b.Pumps {
		if pump == "" || p.Pump == pump {
			list = append(list, p.Ledger...)
		}
	}
	slices.SortStableFunc(list, func(a, b drivers.ServiceRecord) int { return a.Entered.Wall.Compare(b.Entered.Wall) })
	return list
}

func serviceList() *cobra.Command {
	c := &cobra.Command{Use: "list [PUMP]", Short: "List the ledger: what was done, when, at how many hours", Args: cobra.MaximumNArgs(1)}
	config := configFlag(c)
	asJSON := c.Flags().Bool("json", false, "print JSON")
	c.RunE = func(c *cobra.Command, args []string) error {
		return atBook(c, *config, func(d desk, b serviceBook) error {
			zone, err := d.zone(c.Context())
			if err != nil {
				return err
			}
			only := strings.Join(args, "")
			list := b.records(only)
			return printed(c.OutOrStdout(), *asJSON, list, func(w io.Writer) {
				printLedger(w, list, zone)
				b.printOil(w, only)
			})
		})
	}
	return c
}

func printLedger(w io.Writer, list []drivers.ServiceRecord, zone *time.Location) {
	if len(list) == 0 {
		fmt.Fprintln(w, "nothing is recorded")
		return
	}
	fmt.Fprintln(w, "PUMP\tNO\tDONE\tHOURS\tTASK\tACTION\tFOUND\tBY\tREMARKS")
	for i := range list {
		r := &list[i]
		fmt.Fprintf(w, "%s\t%d\t%s\t%.0f\t%s\t%s\t%s\t%s\t%s\n", r.Pump, r.Number, dayOf(r.At.Wall, zone), r.RunTime.Hours(),
			strings.TrimSpace(r.Entry.Task+" "+placeOf(&r.Entry)), r.Entry.Action, r.Entry.Found, doneBy(r), remarks(r, list))
	}
}

// printOil says how fast oil is topped up, where there are enough top-ups.
func (b *serviceBook) printOil(w io.Writer, only string) {
	for _, p := range b.Pumps {
		use, known := service.OilUsed(p.Ledger)
		if !known || only != "" && p.Pump != only {
			continue
		}
		trend := "no more than before"
		if use.Rising {
			trend = "RISING: the first sign of a shaft seal or a diaphragm"
		}
		fmt.Fprintf(w, "\n%s: oil topped up %.2g L in 1000 h of running, lately %.2g L: %s\n", p.Pump, use.Before, use.Lately, trend)
	}
}

func placeOf(e *drivers.ServiceEntry) string {
	if e.Cylinder == 0 {
		return e.Side
	}
	return strings.TrimSpace(fmt.Sprintf("cyl %d %s", e.Cylinder, e.Side))
}

func doneBy(r *drivers.ServiceRecord) string {
	if r.Entry.By != "" {
		return r.Entry.By
	}
	return r.User
}

func remarks(r *drivers.ServiceRecord, list []drivers.ServiceRecord) string {
	var texts []string
	if r.Entry.Undoes > 0 {
		texts = append(texts, fmt.Sprintf("takes back no %d", r.Entry.Undoes))
	}
	if recordState(r, list) == "undone" {
		texts = append(texts, "TAKEN BACK")
	}
	if r.Entry.Filled > 0 {
		texts = append(texts, fmt.Sprintf("%.4g L new oil", r.Entry.Filled))
	}
	if r.Entry.Added > 0 {
		texts = append(texts, fmt.Sprintf("%.4g L oil added", r.Entry.Added))
	}
	if r.Disputed != "" {
		texts = append(texts, "DISPUTED: "+r.Disputed)
	}
	if r.Estimated != "" {
		texts = append(texts, "estimated: "+r.Estimated)
	}
	return joined("; ", append(texts, r.Entry.Note)...)
}

// state says whether a record counts.
func recordState(r *drivers.ServiceRecord, list []drivers.ServiceRecord) string {
	switch {
	case r.Entry.Undoes > 0:
		return "undo"
	case slices.ContainsFunc(list, func(o drivers.ServiceRecord) bool { return o.Pump == r.Pump && o.Entry.Undoes == r.Number }):
		return "undone"
	}
	return "in_force"
}

func serviceExport() *cobra.Command {
	c := &cobra.Command{
		Use:   "export [PUMP]",
		Short: "Write the ledger as CSV for a maintenance system, or as JSON for service import",
		Args:  cobra.MaximumNArgs(1),
	}
	config := configFlag(c)
	asJSON := c.Flags().Bool("json", false, "write JSON, one record a line")
	c.RunE = func(c *cobra.Command, args []string) error {
		return atBook(c, *config, func(_ desk, b serviceBook) error {
			list := b.records(strings.Join(args, ""))
			if !*asJSON {
				return writeCSV(c.OutOrStdout(), list)
			}
			e := json.NewEncoder(c.OutOrStdout())
			for i := range list {
				if err := e.Encode(&list[i]); err != nil {
					return err
				}
			}
			return nil
		})
	}
	return c
}

// A column is one of an export; failure modes and mechanisms are codes of ISO
// 14224, as are class PU (pump) and type RE (reciprocating).
type column struct {
	name string
	cell func(r *drivers.ServiceRecord, list []drivers.ServiceRecord) string
}

func cellText(f func(*drivers.ServiceRecord) string) func(*drivers.ServiceRecord, []drivers.ServiceRecord) string {
	return func(r *drivers.ServiceRecord, _ []drivers.ServiceRecord) string { return f(r) }
}

func cellNumber(f func(*drivers.ServiceRecord) float64) func(*drivers.ServiceRecord, []drivers.ServiceRecord) string {
	return cellText(func(r *drivers.ServiceRecord) string { return strconv.FormatFloat(f(r), 'f', -1, 64) })
}

func yesNo(f func(*drivers.ServiceEntry) bool) func(*drivers.ServiceRecord, []drivers.ServiceRecord) string {
	return cellText(func(r *drivers.ServiceRecord) string { return strconv.FormatBool(f(&r.Entry)) })
}

var columns = []column{
	{"pump", cellText(func(r *drivers.ServiceRecord) string { return r.Pump })},
	{"record", cellText(func(r *drivers.ServiceRecord) string { return strconv.Itoa(r.Number) })},
	{"state", recordState},
	{"equipment_class", cellText(func(*drivers.ServiceRecord) string { return "PU" })},
	{"equipment_type", cellText(func(*drivers.ServiceRecord) string { return "RE" })},
	{"order", cellText(func(r *drivers.ServiceRecord) string { return r.Entry.Order })},
	{"done_at", cellText(func(r *drivers.ServiceRecord) string { return r.At.Wall.UTC().Format(time.RFC3339) })},
	{"done_by", cellText(doneBy)},
	{"recorded_at", cellText(func(r *drivers.ServiceRecord) string { return r.Entered.Wall.UTC().Format(time.RFC3339) })},
	{"recorded_by", cellText(func(r *drivers.ServiceRecord) string { return r.User })},
	{"task", cellText(func(r *drivers.ServiceRecord) string { return r.Entry.Task })},
	{"reason", cellText(func(r *drivers.ServiceRecord) string { return r.Entry.Reason })},
	{"action", cellText(func(r *drivers.ServiceRecord) string { return r.Entry.Action })},
	{"cylinder", cellText(func(r *drivers.ServiceRecord) string { return nonZero(r.Entry.Cylinder) })},
	{"side", cellText(func(r *drivers.ServiceRecord) string { return r.Entry.Side })},
	{"as_found", cellText(func(r *drivers.ServiceRecord) string { return r.Entry.Found })},
	{"failure_mode", cellText(func(r *drivers.ServiceRecord) string { return r.Mode })},
	{"failure_mechanism", cellText(func(r *drivers.ServiceRecord) string { return r.Mechanism })},
	{"run_hours", cellText(func(r *drivers.ServiceRecord) string { return strconv.FormatFloat(r.RunTime.Hours(), 'f', 1, 64) })},
	{"strokes_per_plunger", cellText(func(r *drivers.ServiceRecord) string { return strconv.FormatFloat(r.Strokes, 'f', 0, 64) })},
	{"counted", cellText(func(r *drivers.ServiceRecord) string { return r.Counted })},
	{"panel_hours", cellText(func(r *drivers.ServiceRecord) string { return optional(r.Entry.PanelHours) })},
	{"disputed", cellText(func(r *drivers.ServiceRecord) string { return r.Disputed })},
	{"estimated", cellText(func(r *drivers.ServiceRecord) string { return r.Estimated })},
	{"oil_added_l", cellNumber(func(r *drivers.ServiceRecord) float64 { return r.Entry.Added })},
	{"oil_changed_l", cellNumber(func(r *drivers.ServiceRecord) float64 { return r.Entry.Filled })},
	{"labour_h", cellNumber(func(r *drivers.ServiceRecord) float64 { return r.Entry.Labour })},
	{"downtime_h", cellNumber(func(r *drivers.ServiceRecord) float64 { return r.Entry.Downtime })},
	{"electrical_work", yesNo(func(e *drivers.ServiceEntry) bool { return e.ElectricalWork })},
	{"rotation_confirmed", yesNo(func(e *drivers.ServiceEntry) bool { return e.RotationConfirmed })},
	{"line_changed", yesNo(func(e *drivers.ServiceEntry) bool { return e.LineChanged })},
	{"hydraulic_end_repaired", yesNo(func(e *drivers.ServiceEntry) bool { return e.HydraulicEnd })},
	{"readings_before", cellText(func(r *drivers.ServiceRecord) string { return readings(r.Entry.Before) })},
	{"readings_after", cellText(func(r *drivers.ServiceRecord) string { return readings(r.Entry.After) })},
	{"parts", cellText(func(r *drivers.ServiceRecord) string { return partsText(r.Entry.Parts) })},
	{"undoes", cellText(func(r *drivers.ServiceRecord) string { return nonZero(r.Entry.Undoes) })},
	{"note", cellText(func(r *drivers.ServiceRecord) string { return r.Entry.Note })},
}

func nonZero(n int) string {
	if n == 0 {
		return ""
	}
	return strconv.Itoa(n)
}

func optional(x *float64) string {
	if x == nil {
		return ""
	}
	return strconv.FormatFloat(*x, 'f', -1, 64)
}

func readings(list []drivers.ServiceReading) string {
	var texts []string
	for _, r := range list {
		texts = append(texts, strings.TrimSpace(fmt.Sprintf("%s=%v %s", r.Name, r.Value, r.Unit)))
	}
	return strings.Join(texts, "; ")
}

func partsText(list []drivers.ServicePart) string {
	var texts []string
	for _, p := range list {
		one := []string{fmt.Sprintf("%v × %s", max(p.Quantity, 1), p.Name)}
		for _, extra := range []struct{ name, value string }{{"number", p.Number}, {"serial", p.Serial}, {"batch", p.Batch}} {
			if extra.value != "" {
				one = append(one, extra.name+"="+extra.value)
			}
		}
		texts = append(texts, strings.Join(one, " "))
	}
	return strings.Join(texts, "; ")
}

func writeCSV(w io.Writer, list []drivers.ServiceRecord) error {
	out := csv.NewWriter(w)
	row := make([]string, len(columns))
	for i, c := range columns {
		row[i] = c.name
	}
	_ = out.Write(row) // its error is Flush's
	for i := range list {
		for j, c := range columns {
			row[j] = plain(c.cell(&list[i], list))
		}
		_ = out.Write(row)
	}
	out.Flush()
	return out.Error()
}

// plain keeps a spreadsheet from taking what a person wrote for a formula.
func plain(cell string) string {
	if cell != "" && strings.ContainsRune("=+-@\t\r", rune(cell[0])) {
		return "'" + cell
	}
	return cell
}

func serviceImport() *cobra.Command {
	c := &cobra.Command{
		Use:   "import PUMP FILE",
		Short: "Take over the ledger of a pump that came from another gateway (JSON of service export)",
		Args:  asUsed,
	}
	config := configFlag(c)
	from := c.Flags().String("from", "", "the pump's name in the file; left out: all records in it")
	c.RunE = func(c *cobra.Command, args []string) error {
		list, err := readExport(args[1], *from)
		if err != nil {
			return err
		}
		settings, err := loadConfig(*config)
		if err != nil {
			return err
		}
		return atBook(c, *config, func(d desk, b serviceBook) error { return takeOver(c, d, settings, &b, args[0], list) })
	}
	return c
}

// takeOver gives records to the ledger of a pump. All are checked before the
// first is given, and those that are there already are left out, so that it can
// be done again after a break.
func takeOver(c *cobra.Command, d desk, settings *configs.Config, b *serviceBook, id string, list []drivers.ServiceRecord) error {
	var entries []*drivers.ServiceEntry
	for i := range list {
		if r := &list[i]; !r.At.Synchronized {
			return fmt.Errorf("record %d of %s has no date: the clock of its gateway was not set when it was exported; export again once it is, or write the day into its \"at\" as \"wall\", with \"synchronized\": true; nothing was taken over", r.Number, r.Pump)
		}
		e := carried(&list[i])
		if err := checkEntry(settings, b, id, e); err != nil {
			return fmt.Errorf("record %d of %s: %w; nothing was taken over", list[i].Number, list[i].Pump, err)
		}
		if !b.pump(id).has(e) {
			entries = append(entries, e)
		}
	}
	if err := b.pump(id).reaches(entries); err != nil {
		return err
	}
	for _, e := range entries {
		command := drivers.Command{ID: rand.Text(), User: userName(uint32(os.Getuid())), Verb: drivers.RecordService, Task: e.Task, Service: e}
		out, err := d.order(c.Context(), order{Pump: id, Command: command})
		if err != nil {
			return err
		}
		if !out.Accepted {
			return fmt.Errorf("%s of %s: %s", e.Task, dayOf(e.At, settings.Site.TimeZone), out.text())
		}
	}
	fmt.Fprintf(c.OutOrStdout(), "%d records taken over, %d were there already\n", len(entries), len(list)-len(entries))
	return nil
}

// reaches reports whether the pump has run as far as the records say: a pump
// that moved to a new gateway brings its hours along in the configuration.
func (p *pumpBook) reaches(entries []*drivers.ServiceEntry) error {
	hours, strokes := 0.0, 0.0
	for _, e := range entries {
		hours, strokes = max(hours, *e.RunHours), max(strokes, *e.Strokes)
	}
	const slack = 1 // h: what it ran since it came is not known to the minute
	if hours <= p.RunHours+slack {
		return nil
	}
	return fmt.Errorf("the records go to %.0f h, but %s has %.0f h here: write what it had run when it came under the pump, such as opening: {run_hours: %.0f h, strokes_per_plunger: %.4g}; nothing was taken over",
		hours, p.Pump, p.RunHours, hours, strokes)
}

// has reports whether the ledger has a record of the same work, in force or
// taken back.
func (p *pumpBook) has(e *drivers.ServiceEntry) bool {
	return slices.ContainsFunc(p.Ledger, func(r drivers.ServiceRecord) bool {
		o := &r.Entry
		return r.At.Wall.Equal(e.At.Truncate(time.Millisecond)) && o.Task == e.Task && o.Action == e.Action && o.Cylinder == e.Cylinder && o.Side == e.Side &&
			o.Undoes == 0 && o.Added == e.Added && o.Note == e.Note
	})
}

// readExport reads what service export --json wrote: the records in force, in
// the order of the work.
func readExport(path, pump string) (list []drivers.ServiceRecord, err error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	all, err := decodeRecords(f)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	all = slices.DeleteFunc(all, func(r drivers.ServiceRecord) bool { return pump != "" && r.Pump != pump })
	for _, r := range service.InForce(all) {
		list = append(list, *r)
	}
	return list, nil
}

func decodeRecords(r io.Reader) (list []drivers.ServiceRecord, err error) {
	d := json.NewDecoder(r)
	for d.More() {
		var one drivers.ServiceRecord
		if err := d.Decode(&one); err != nil {
			return nil, fmt.Errorf("record %d: %w", len(list)+1, err)
		}
		list = append(list, one)
	}
	return list, nil
}

// carried is a record as an entry at another gateway: with its own time, hours
// and hands.
func carried(r *drivers.ServiceRecord) *drivers.ServiceEntry {
	e, hours := r.Entry, r.RunTime.Hours()
	e.At, e.By = r.At.Wall, doneBy(r)
	e.RunHours, e.Strokes = &hours, &r.Strokes
	return &e
}
