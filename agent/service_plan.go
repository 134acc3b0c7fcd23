package main

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"pumpside/configs"
	"pumpside/rules"
	"pumpside/rules/alarm"
	"pumpside/rules/pump"
	"pumpside/rules/service"
)

func servicePlan() *cobra.Command {
	c := &cobra.Command{
		Use:   "plan [PUMP]",
		Short: "Plan the next visits: what to do together, which kits, how much oil",
		Args:  cobra.MaximumNArgs(1),
	}
	config := configFlag(c)
	horizon := spanFlag(c.Flags(), "for", 90*24*time.Hour, "how far ahead, such as 30d")
	asJSON, asHTML := c.Flags().Bool("json", false, "print JSON"), c.Flags().Bool("html", false, "write the sheet of the next visit as a page to print")
	c.RunE = func(c *cobra.Command, args []string) error {
		if *horizon <= 0 || *horizon > service.Foresight {
			return misuse{fmt.Errorf("--for is %v; use a time above zero, 3 years (1095d) at most: no date further off is foretold", (*span)(horizon))}
		}
		settings, err := loadConfig(*config)
		if err != nil {
			return err
		}
		return atBook(c, *config, func(_ desk, b serviceBook) error {
			p := planOf(settings, &b, strings.Join(args, ""), *horizon)
			if *asHTML {
				return writeSheet(c.OutOrStdout(), settings, &p)
			}
			return printed(c.OutOrStdout(), *asJSON, p, func(w io.Writer) { p.print(w, settings.Site.TimeZone) })
		})
	}
	return c
}

// A sitePlan is visits with what to load for them.
type sitePlan struct {
	At      time.Time     `json:"at"`
	Until   time.Time     `json:"until"`
	Visits  []loadedVisit `json:"visits"`
	Undated []service.Job `json:"undated,omitempty"`
	NoDates string        `json:"no_dates,omitempty"` // why nothing has a date
}

// A loadedVisit is a visit with what goes on the truck, by pump.
type loadedVisit struct {
	service.Visit
	Pumps []pumpVisit `json:"pumps"`
}

// A pumpVisit is one pump's part of a visit.
type pumpVisit struct {
	Pump    string           `json:"pump"`
	Tag     string           `json:"tag"`
	Jobs    []service.Job    `json:"-"`
	Offers  []service.Job    `json:"-"`
	Kits    []service.Load   `json:"kits"`
	Missing []pump.Component `json:"no_kit_for,omitempty"`
	Tools   []string         `json:"tools,omitempty"`
	Oil     string           `json:"oil_grade,omitempty"`
	Litres  float64          `json:"oil_l,omitempty"`
	Manual  string           `json:"manual,omitempty"`
}

// planOf plans for one pump, or for all with "".
func planOf(settings *configs.Config, b *serviceBook, only string, horizon time.Duration) sitePlan {
	var list []service.Candidate
	for i := range settings.Pumps {
		p := &settings.Pumps[i]
		if book := b.pump(p.ID); book != nil && (only == "" || only == p.ID) {
			list = append(list, candidates(p, book)...)
		}
	}
	plan := service.MakePlan(list, b.At, horizon)
	out := sitePlan{At: b.At, Until: plan.Until, Undated: plan.Undated, NoDates: plan.NoDates}
	for _, v := range plan.Visits {
		out.Visits = append(out.Visits, loaded(settings, v))
	}
	return out
}

func candidates(p *configs.Pump, book *pumpBook) (list []service.Candidate) {
	for i := range p.Rules.Tasks {
		t := &p.Rules.Tasks[i]
		at := slices.IndexFunc(book.Tasks, func(v rules.TaskView) bool { return v.Task == t.Name })
		if at < 0 {
			continue
		}
		v := &book.Tasks[at]
		if len(v.Places) == 0 {
			list = append(list, service.Candidate{Pump: p.ID, Task: t, Used: v.Life.Used, By: v.Life.By, Window: v.Window})
		}
		for _, one := range v.Places {
			list = append(list, service.Candidate{Pump: p.ID, Task: t, Position: one.Position, Used: one.Life.Used, By: one.Life.By, Window: one.Window})
		}
	}
	return list
}

func loaded(settings *configs.Config, v service.Visit) loadedVisit {
	out := loadedVisit{Visit: v}
	for i := range settings.Pumps {
		p := &settings.Pumps[i]
		of := func(j service.Job) bool { return j.Pump != p.ID }
		pv := pumpVisit{Pump: p.ID, Tag: p.Tag, Jobs: slices.DeleteFunc(slices.Clone(v.Jobs), of), Offers: slices.DeleteFunc(slices.Clone(v.Offers), of)}
		if len(pv.Jobs) == 0 {
			continue
		}
		pv.Kits, pv.Missing = service.Kits(pv.Jobs, p.Kits, p.Geometry.Cylinders)
		pv.Tools, pv.Oil, pv.Manual = p.Visit.Tools, p.Visit.OilGrade, p.Visit.Manual
		pv.Litres = service.OilFor(pv.Jobs)
		out.Pumps = append(out.Pumps, pv)
	}
	return out
}

// print writes plain lines: a plan is read on a telephone. The caution stands
// before the work.
func (p *sitePlan) print(w io.Writer, zone *time.Location) {
	switch {
	case p.NoDates != "":
		fmt.Fprintf(w, "due dates are not known: %s; %s\n", p.NoDates, service.ClockCure)
	case len(p.Visits) == 0:
		fmt.Fprintf(w, "nothing falls due before %s\n", dayOf(p.Until, zone))
	}
	for i, v := range p.Visits {
		if i > 0 {
			fmt.Fprintln(w)
		}
		fmt.Fprintf(w, "VISIT by %s: about %s of work\n", v.On.In(zone).Format("Mon 2 Jan 2006"), workTime(v.Minutes))
		fmt.Fprintf(w, "  CAUTION: %s\n", alarm.SafetyFor(v.Opens))
		for j := range v.Pumps {
			v.Pumps[j].print(w, zone)
		}
		if v.Oil > 0 {
			fmt.Fprintf(w, "  oil in all: %.4g L\n", v.Oil)
		}
	}
	for _, j := range p.Undated {
		fmt.Fprintf(w, "no date: %s %s, %.0f %% used: %s\n", j.Pump, j.Task, service.Percent(j.At[0].Used), j.At[0].Why)
	}
}

func (p *pumpVisit) print(w io.Writer, zone *time.Location) {
	fmt.Fprintf(w, "  %s (%s)\n", p.Pump, p.Tag)
	for _, j := range p.Jobs {
		fmt.Fprintf(w, "    %s: %s\n", jobName(j), why(j, zone))
	}
	for _, j := range p.Offers {
		fmt.Fprintf(w, "    open anyway: %s, %.0f %% used; decide there\n", jobName(j), service.Percent(j.At[0].Used))
	}
	for _, k := range p.Kits {
		fmt.Fprintf(w, "    bring %d × %s\n", k.Quantity, joined(" ", k.Kit.Name, k.Kit.Number))
	}
	for _, j := range p.Jobs {
		if j.Parts != "" {
			fmt.Fprintf(w, "    bring %s\n", j.Parts)
		}
	}
	if p.Litres > 0 {
		fmt.Fprintf(w, "    bring %.4g L of %s\n", p.Litres, cmp.Or(p.Oil, "oil"))
	}
	for _, c := range p.Missing {
		fmt.Fprintf(w, "    no kit in the settings renews %s\n", strings.ReplaceAll(string(c), "_", " "))
	}
	if len(p.Tools) > 0 {
		fmt.Fprintf(w, "    tools: %s\n", strings.Join(p.Tools, ", "))
	}
}

// jobName is a job with the places it is about.
func jobName(j service.Job) string {
	if j.All {
		return fmt.Sprintf("%s (all %d)", j.Task, len(j.At))
	}
	var places []string
	for _, at := range j.At {
		if at.Position != (pump.Position{}) {
			places = append(places, at.Position.String())
		}
	}
	if len(places) == 0 {
		return j.Task
	}
	return j.Task + " (" + strings.Join(places, ", ") + ")"
}

// why says why a job is on the visit: by the place used most.
func why(j service.Job, zone *time.Location) string {
	worst := slices.MaxFunc(j.At, func(a, b service.PlaceDue) int {
		switch {
		case a.Used < b.Used:
			return -1
		case a.Used > b.Used:
			return 1
		}
		return 0
	})
	if worst.By == service.ByCondition {
		return "the diagnosis asks for it"
	}
	if worst.Why != "" {
		return fmt.Sprintf("%.0f %% of its interval used, %s: due no sooner than %s", service.Percent(worst.Used), worst.Why, dayOf(worst.Due, zone))
	}
	return fmt.Sprintf("%.0f %% of its interval used, due %s", service.Percent(worst.Used), dayOf(worst.Due, zone))
}

func workTime(minutes float64) string {
	return fmt.Sprintf("%d h %02d min", int(minutes)/60, int(minutes)%60)
}
