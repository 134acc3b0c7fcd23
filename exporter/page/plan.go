package page

import (
	"bytes"
	"fmt"
	"net/http"
	"strings"
	"sync"
	"time"

	"pumpside/rules/alarm"
)

// A Plan is the visits to come.
type Plan struct {
	Until   time.Time
	Visits  []Visit
	Undated []Job  // much used, but nobody can tell when it falls due
	NoDates string // why nothing has a date; "" when things have
}

// A Visit is work to be done together.
type Visit struct {
	On    time.Time     // no later, or something falls due
	Work  time.Duration // it takes
	Opens bool          // something is opened or touched
	Oil   float64       // litres
	Pumps []VisitPump
}

// A VisitPump is one pump's part of a visit.
type VisitPump struct {
	Pump         string
	Jobs, Offers []Job // to do; not due, but open anyway
	Bring, Tools []string
	Manual       string
}

// A Job is one task, at the places it is about.
type Job struct {
	Pump, Task string
	Places     []string
	Used       float64
	Due        time.Time
	Asked      bool // the diagnosis asks for it
	Steps      []string
}

// plans keeps the newest plan: to make one takes long, and it changes little.
type plans struct {
	mu   sync.Mutex // guards what follows
	plan Plan
	seqs uint64
	made time.Time
}

// planLasts is how long a plan is shown before it is made anew, when nothing
// happens meanwhile.
const planLasts = time.Minute

func (p *Page) plan(view *View) Plan {
	p.plans.mu.Lock()
	defer p.plans.mu.Unlock()
	if now := seqs(view); p.plans.made.IsZero() || p.plans.seqs != now || time.Since(p.plans.made) > planLasts {
		p.plans.plan, p.plans.seqs, p.plans.made = p.source.Plan(), now, time.Now()
	}
	return p.plans.plan
}

// sheetPolicy lets the sheet to print have its own styles, and nothing else.
const sheetPolicy = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"

// sheet gives the sheet of the next visit, to print.
func (p *Page) sheet(w http.ResponseWriter, r *http.Request) {
	var b bytes.Buffer
	if err := p.source.Sheet(&b); err != nil {
		p.fail(w, r, http.StatusInternalServerError, "The sheet could not be made: "+err.Error()+".")
		return
	}
	w.Header().Set("Content-Security-Policy", sheetPolicy)
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	_, _ = w.Write(b.Bytes()) // a reader that left is no concern of ours
}

// A visitPart is one visit in words.
type visitPart struct {
	On, Work, Oil string
	Safety        string // "" when nothing is opened
	Pumps         []visitPumpPart
}

type visitPumpPart struct {
	Pump, Tag, Location string
	Hazards             []string
	Jobs, Offers        []jobLine
	Bring, Tools        []string
	Manual              string
}

type jobLine struct {
	Tag, Title, Why string
	Steps           []string
}

// A planPart is what is to be done, in words.
type planPart struct {
	Until   string
	NoDates string
	Visits  []visitPart
	Undated []jobLine
}

func (p *Page) planPart(v viewer, view *View) planPart {
	plan := p.plan(view)
	part := planPart{Until: v.Clock.day(plan.Until), NoDates: plan.NoDates}
	for _, one := range plan.Visits {
		out := visitPart{On: v.Clock.day(one.On), Work: alarm.Span(one.Work)}
		if one.Oil > 0 {
			out.Oil = fixed(one.Oil, 1) + " L"
		}
		out.Safety = alarm.SafetyFor(one.Opens)
		for _, vp := range one.Pumps {
			out.Pumps = append(out.Pumps, visitPump(v, view, vp))
		}
		part.Visits = append(part.Visits, out)
	}
	for _, j := range plan.Undated {
		part.Undated = append(part.Undated, jobLineOf(v, view, j))
	}
	return part
}

func visitPump(v viewer, view *View, vp VisitPump) visitPumpPart {
	out := visitPumpPart{Pump: vp.Pump, Tag: vp.Pump, Bring: vp.Bring, Tools: vp.Tools, Manual: vp.Manual}
	if pump, err := findPump(view, vp.Pump); err == nil {
		out.Tag, out.Location, out.Hazards = pump.Tag, pump.Location, pump.Hazards
	}
	for _, j := range vp.Jobs {
		out.Jobs = append(out.Jobs, jobLineOf(v, view, j))
	}
	for _, j := range vp.Offers {
		out.Offers = append(out.Offers, jobLineOf(v, view, j))
	}
	return out
}

func jobLineOf(v viewer, view *View, j Job) jobLine {
	l := jobLine{Tag: j.Pump, Title: sentence(spaced(j.Task)), Why: used(j.Used) + " % used", Steps: j.Steps}
	if pump, err := findPump(view, j.Pump); err == nil {
		l.Tag, l.Title = pump.Tag, pump.TitleOf(j.Task)
	}
	if len(j.Places) > 0 {
		l.Title += " (" + strings.Join(j.Places, ", ") + ")"
	}
	switch {
	case j.Asked:
		l.Why = "the diagnosis asks for it"
	case !j.Due.IsZero():
		l.Why += fmt.Sprintf(", due %s", v.Clock.day(j.Due))
	}
	return l
}
