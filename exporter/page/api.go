package page

import (
	"context"
	"encoding/json"
	"math"
	"net/http"
	"time"

	"pumpside/drivers"
	"pumpside/rules"
	"pumpside/rules/alarm"
	"pumpside/rules/service"
	"pumpside/rules/trend"
)

// answers are the API's, by path under /api/v1. Numbers are in base units,
// times in UTC.
var answers = map[string]func(*Page, ask, *View) (any, error){
	"/site":              siteAnswer,
	"/pump/{pump}":       pumpAnswer,
	"/pump/{pump}/trend": trendAnswer,
	"/alarms":            alarmsAnswer,
	"/journal":           journalAnswer,
	"/service":           serviceAnswer,
	"/handover":          handoverAnswer,
	"/bus":               busAnswer,
}

func (p *Page) answerJSON(answer func(*Page, ask, *View) (any, error)) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		ctx, cancel := context.WithTimeout(r.Context(), wait)
		defer cancel()
		a := askOf(r)
		a.Context = ctx
		view := p.source.View()
		body, err := answer(p, a, &view)
		if err != nil {
			problem(w, statusOf(err), err.Error())
			return
		}
		writeJSON(w, http.StatusOK, body)
	})
}

func writeJSON(w http.ResponseWriter, status int, body any) {
	text, err := json.Marshal(body)
	if err != nil {
		problem(w, http.StatusInternalServerError, "the answer could not be made: "+err.Error())
		return
	}
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(status)
	_, _ = w.Write(append(text, '\n')) // a reader that left is no concern of ours
}

// problem answers with problem details for HTTP APIs (RFC 9457).
func problem(w http.ResponseWriter, status int, detail string) {
	text, _ := json.Marshal(struct { // plain values: it cannot fail
		Title  string `json:"title"`
		Status int    `json:"status"`
		Detail string `json:"detail"`
	}{http.StatusText(status), status, detail})
	w.Header().Set("Content-Type", "application/problem+json")
	w.WriteHeader(status)
	_, _ = w.Write(append(text, '\n'))
}

// pumpJSON is one pump.
type pumpJSON struct {
	Pump      string               `json:"pump"`
	Tag       string               `json:"tag"`
	Location  string               `json:"location,omitempty"`
	Hazards   []string             `json:"hazards,omitempty"`
	At        time.Time            `json:"at"`
	Running   alarm.Known          `json:"running"`
	ForS      float64              `json:"for_s"`
	Observed  bool                 `json:"observed"`
	Disputed  bool                 `json:"disputed"`
	Totals    rules.Totals         `json:"totals"`
	Standing  []alarm.View         `json:"alarms"` // those that are not normal
	Tasks     []taskJSON           `json:"service"`
	Signals   []signalJSON         `json:"signals,omitempty"`
	Sights    []Sight              `json:"visibility,omitempty"`
	Cannot    []Gap                `json:"not_visible,omitempty"`
	Condition *rules.ConditionView `json:"condition,omitempty"`
	LeakDown  *rules.LeakDownView  `json:"leak_down,omitempty"`
	Repair    *rules.RepairView    `json:"repair,omitempty"`
	OilUse    *service.OilUse      `json:"oil_use,omitempty"`
	Score     *service.Score       `json:"diagnosis_score,omitempty"`
	Cylinders int                  `json:"cylinders"`
}

type signalJSON struct {
	Signal  string          `json:"signal"`
	Value   *float64        `json:"value"` // nil when bad
	Unit    string          `json:"unit,omitempty"`
	Quality drivers.Quality `json:"quality"`
	Reason  drivers.Reason  `json:"reason,omitempty"`
	At      time.Time       `json:"at,omitzero"`
	GoodAt  time.Time       `json:"good_at,omitzero"`
	Low     *float64        `json:"low,omitempty"`
	High    *float64        `json:"high,omitempty"`
}

type taskJSON struct {
	Task    string         `json:"task"`
	Status  string         `json:"status"`
	Used    float64        `json:"used_ratio"`
	By      string         `json:"by,omitempty"`
	Spent   float64        `json:"spent"`
	Limit   float64        `json:"limit"`
	LastAt  time.Time      `json:"last_at,omitzero"`
	LastBy  string         `json:"last_by,omitempty"`
	Counted int            `json:"records"`
	Parts   string         `json:"parts,omitempty"`
	Window  service.Window `json:"window"`
}

func pumpJSONOf(pump *Pump, whole bool) pumpJSON {
	j := pumpJSON{
		Pump: pump.ID, Tag: pump.Tag, Location: pump.Location, Hazards: pump.Hazards, At: pump.At.Wall, Running: pump.Running, ForS: pump.For.Seconds(),
		Observed: pump.Observed, Disputed: pump.Disputed, Totals: pump.Totals, Standing: standing(pump.Alarms), Tasks: tasksJSON(pump), Cylinders: pump.Cylinders,
	}
	if whole {
		j.Sights, j.Cannot, j.Condition, j.LeakDown, j.Repair, j.OilUse, j.Score = pump.Sights, pump.Gaps, pump.Condition, pump.LeakDown, pump.Repair, pump.OilUse, &pump.Score
		for i := range pump.Signals {
			j.Signals = append(j.Signals, signalJSONOf(pump, &pump.Signals[i]))
		}
	}
	return j
}

func signalJSONOf(pump *Pump, s *rules.SignalView) signalJSON {
	band := pump.Bands[s.Name]
	j := signalJSON{
		Signal: s.Name, Unit: s.Dimension.Base(), Quality: s.Quality, Reason: s.Reason, At: s.At.Wall, GoodAt: s.GoodAt.Wall, Low: band.Low, High: band.High,
	}
	if s.Quality != drivers.Bad && !math.IsNaN(s.Value) && !math.IsInf(s.Value, 0) {
		j.Value = &s.Value
	}
	return j
}

func tasksJSON(pump *Pump) []taskJSON {
	list := make([]taskJSON, len(pump.Tasks))
	for i := range pump.Tasks {
		t := &pump.Tasks[i]
		list[i] = taskJSON{
			Task: t.Task, Status: t.Status.String(), Used: t.Life.Used, By: string(t.Life.By), Spent: t.Life.Spent, Limit: t.Life.Limit,
			LastAt: t.Done.At.Wall, LastBy: t.Done.By, Counted: t.Done.Count, Parts: pump.Parts[t.Task], Window: t.Window,
		}
	}
	return list
}

// standing are the alarms that are not normal, or silenced.
func standing(all []alarm.View) []alarm.View {
	list := []alarm.View{}
	for i := range all {
		if a := &all[i]; a.State != alarm.Normal || a.Shelved || a.Removed {
			list = append(list, *a)
		}
	}
	return list
}

type siteJSON struct {
	Site              string       `json:"site"`
	Title             string       `json:"title"`
	At                time.Time    `json:"at"`
	ClockSynchronized bool         `json:"clock_synchronized"`
	Version           string       `json:"agent_version"`
	ConfigHash        string       `json:"config_hash"`
	Alarms            []alarm.View `json:"alarms"` // the site's own that are not normal
	Pumps             []pumpJSON   `json:"pumps"`
}

func siteAnswer(_ *Page, _ ask, view *View) (any, error) {
	j := siteJSON{
		Site: view.Site.ID, Title: view.Site.Title, At: view.At.Wall, ClockSynchronized: view.At.Synchronized,
		Version: view.Agent.Version, ConfigHash: view.Agent.ConfigHash, Alarms: standing(view.Own.Alarms), Pumps: []pumpJSON{},
	}
	for i := range view.Pumps {
		j.Pumps = append(j.Pumps, pumpJSONOf(&view.Pumps[i], false))
	}
	return j, nil
}

func pumpAnswer(_ *Page, a ask, view *View) (any, error) {
	pump, err := findPump(view, a.Pump)
	if err != nil {
		return nil, err
	}
	return pumpJSONOf(pump, true), nil
}

// alarmJSON is an alarm with its pump and its words.
type alarmJSON struct {
	Pump string `json:"pump"` // "" for the site's own
	alarm.View
	Message *alarm.Message `json:"message,omitempty"`
}

func alarmsAnswer(p *Page, a ask, view *View) (any, error) {
	list := []alarmJSON{}
	add := func(pump string, all []alarm.View) {
		for _, one := range standing(all) {
			j := alarmJSON{Pump: pump, View: one}
			if one.Last != nil {
				m := p.words(viewer{Units: view.Site.Units}, pump, one.Call())
				j.Message = &m
			}
			list = append(list, j)
		}
	}
	add("", view.Own.Alarms)
	for i := range view.Pumps {
		add(view.Pumps[i].ID, view.Pumps[i].Alarms)
	}
	return struct {
		At     time.Time   `json:"at"`
		Alarms []alarmJSON `json:"alarms"`
	}{view.At.Wall, list}, nil
}

// entryJSON is a journal entry with its words.
type entryJSON struct {
	Entry
	Headline string `json:"headline"`
}

func journalAnswer(p *Page, a ask, view *View) (any, error) {
	filter, err := filterOf(a.Query, view)
	if err != nil {
		return nil, err
	}
	entries, err := p.source.Journal(a, filter.query(view.At.Wall))
	if err != nil {
		return nil, err
	}
	list := make([]entryJSON, len(entries))
	for i, e := range entries {
		list[i] = entryJSON{e, p.headline(viewer{Units: view.Site.Units}, e.Pump, e.Event)}
	}
	return struct {
		Entries []entryJSON `json:"entries"`
	}{list}, nil
}

func serviceAnswer(_ *Page, _ ask, view *View) (any, error) {
	type pumpTasks struct {
		Pump  string     `json:"pump"`
		Tasks []taskJSON `json:"service"`
	}
	list := make([]pumpTasks, len(view.Pumps))
	for i := range view.Pumps {
		list[i] = pumpTasks{view.Pumps[i].ID, tasksJSON(&view.Pumps[i])}
	}
	return struct {
		At    time.Time   `json:"at"`
		Pumps []pumpTasks `json:"pumps"`
	}{view.At.Wall, list}, nil
}

func handoverAnswer(p *Page, a ask, _ *View) (any, error) {
	span, err := number(a.Query, "hours", 24, 1, 31*24)
	if err != nil {
		return nil, err
	}
	return p.source.Report(a, time.Duration(span)*time.Hour)
}

func busAnswer(p *Page, _ ask, _ *View) (any, error) {
	return struct {
		Buses []Bus `json:"buses"`
	}{p.source.Buses()}, nil
}

// trendMost is the most points of one answer: more than any screen has.
const trendMost = 2000

// trendJSON is a stretch of history as columns, which is what is drawn from.
type trendJSON struct {
	Signal string    `json:"signal"`
	Unit   string    `json:"unit"`
	From   float64   `json:"from"` // Unix seconds, as all times here
	To     float64   `json:"to"`
	SpanS  float64   `json:"span_s"` // of the widest point
	At     []float64 `json:"at"`
	Min    []float64 `json:"min"`
	Mean   []float64 `json:"mean"`
	Max    []float64 `json:"max"`
	Low    *float64  `json:"low,omitempty"` // the normal band
	High   *float64  `json:"high,omitempty"`
}

// trendAnswer gives one signal between from and to (Unix seconds; the last
// hour if left out) in a number of points. units=metric or us_field converts;
// otherwise base units.
func trendAnswer(p *Page, a ask, view *View) (any, error) {
	pump, err := findPump(view, a.Pump)
	if err != nil {
		return nil, err
	}
	q, s, err := trendQuery(a.Query, pump, view.At.Wall)
	if err != nil {
		return nil, err
	}
	points, err := p.source.Trend(a, q)
	if err != nil {
		return nil, err
	}
	unit := unitForScript(a.Query.Get("units"), s)
	band := pump.Bands[s.Name]
	j := trendJSON{
		Signal: s.Name, Unit: unit.Symbol, From: unix(q.From), To: unix(q.To), Low: inUnit(unit, band.Low), High: inUnit(unit, band.High),
		At: []float64{}, Min: []float64{}, Mean: []float64{}, Max: []float64{},
	}
	for _, point := range points {
		j.add(unit.FromBase, point)
	}
	return j, nil
}

func (j *trendJSON) add(from func(float64) float64, p trend.Point) {
	j.At = append(j.At, unix(p.At))
	j.SpanS = max(j.SpanS, p.Span.Seconds())
	j.Min, j.Mean, j.Max = append(j.Min, short(from(p.Min))), append(j.Mean, short(from(p.Mean))), append(j.Max, short(from(p.Max)))
}
