package page

import (
	"context"
	"crypto/rand"
	"encoding/json"
	"errors"
	"fmt"
	"mime"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"pumpside/drivers"
	"pumpside/rules/alarm"
)

// needs is the role that each verb asks for.
var needs = map[drivers.Verb]Role{
	drivers.Acknowledge:   Operator,
	drivers.Reset:         Operator,
	drivers.Shelve:        Operator,
	drivers.Unshelve:      Operator,
	drivers.Remove:        Technician,
	drivers.Return:        Technician,
	drivers.RecordService: Technician,
}

// commentMost is the longest comment, in characters.
const commentMost = 500

// An order is a change that somebody asks for.
type order struct {
	Pump    string       `json:"pump"` // "" for the site's own alarms
	Verb    drivers.Verb `json:"verb"`
	Alarm   string       `json:"alarm"`
	Task    string       `json:"task"`
	Hours   float64      `json:"hours"` // of a shelf or until a review; 0 for the usual
	Comment string       `json:"comment"`
	// Service says more of what was done than the task; its note is Comment.
	Service *drivers.ServiceEntry `json:"service"`
	ID      string                `json:"command_id"` // makes a form that is sent twice count once
}

// mayChange answers for itself when a request may not change anything.
func (p *Page) mayChange(w http.ResponseWriter, r *http.Request, need Role) (viewer, bool) {
	token := r.Header.Get("X-Form-Token")
	if token == "" && !wantsJSON(r) {
		if err := r.ParseForm(); err != nil {
			p.fail(w, r, http.StatusBadRequest, "The form is not understood, or too large. Nothing was changed.")
			return viewer{}, false
		}
		token = r.PostForm.Get("token")
	}
	v := p.viewer(r, p.source.View().Site)
	s, _ := p.open.find(v.key, time.Now())
	switch {
	case v.Role == Nobody:
		p.fail(w, r, http.StatusUnauthorized, "A change needs a name: sign in first. Nothing was changed.")
	case !s.brings(token):
		p.fail(w, r, http.StatusForbidden, "The form does not belong to this session: open the page again. Nothing was changed.")
	case v.Role < need:
		p.fail(w, r, http.StatusForbidden, fmt.Sprintf("This needs the role %v; %s is %v. Nothing was changed.", need, v.User, v.Role))
	default:
		return v, true
	}
	return v, false
}

// orderForm takes an order from a form and goes back to where it came from.
func (p *Page) orderForm(w http.ResponseWriter, r *http.Request) {
	if kind, _, _ := mime.ParseMediaType(r.Header.Get("Content-Type")); kind != "application/x-www-form-urlencoded" {
		p.fail(w, r, http.StatusUnsupportedMediaType, "This is for forms. Nothing was changed.")
		return
	}
	v, ok := p.mayChange(w, r, Operator)
	if !ok {
		return
	}
	o, err := formOrder(r.PostForm)
	if err == nil {
		err = o.setTime(r.PostForm.Get("at"), v.Clock.zone)
	}
	if err != nil {
		p.fail(w, r, http.StatusBadRequest, sentence(err.Error())+". Nothing was changed.")
		return
	}
	e, status, err := p.carryOut(r.Context(), v, o)
	if err != nil {
		p.fail(w, r, status, sentence(err.Error())+". Nothing was changed.")
		return
	}
	said := "Done: "
	if e.Kind == alarm.Refused {
		said = "Refused: "
	}
	p.open.say(v.key, said+p.headline(v, o.Pump, e))
	http.Redirect(w, r, localPath(r.PostForm.Get("back")), http.StatusSeeOther)
}

func formOrder(f url.Values) (o order, err error) {
	for key, values := range f {
		if len(values) > 1 {
			return o, errors.New(quoted(key) + " is in the form twice")
		}
	}
	o = order{
		Pump: f.Get("pump"), Verb: drivers.Verb(f.Get("verb")), Alarm: f.Get("alarm"), Task: f.Get("task"),
		Comment: f.Get("comment"), ID: f.Get("id"),
	}
	if o.Verb == drivers.RecordService {
		if err := o.addService(f); err != nil {
			return o, err
		}
	}
	if text := f.Get("hours"); text != "" {
		if o.Hours, err = strconv.ParseFloat(text, 64); err != nil {
			return o, errors.New(quoted(text) + " is no number of hours")
		}
	}
	return o, nil
}

// orderJSON takes an order from a script.
func (p *Page) orderJSON(w http.ResponseWriter, r *http.Request) {
	v, ok := p.mayChange(w, r, Operator)
	if !ok {
		return
	}
	if kind, _, _ := mime.ParseMediaType(r.Header.Get("Content-Type")); kind != "application/json" {
		problem(w, http.StatusUnsupportedMediaType, "send application/json")
		return
	}
	var o order
	d := json.NewDecoder(r.Body)
	d.DisallowUnknownFields()
	if err := d.Decode(&o); err != nil {
		problem(w, http.StatusBadRequest, "the order is not understood: "+err.Error())
		return
	}
	e, status, err := p.carryOut(r.Context(), v, o)
	if err != nil {
		problem(w, status, err.Error())
		return
	}
	status = http.StatusOK
	if e.Kind == alarm.Refused {
		status = http.StatusConflict
	}
	writeJSON(w, status, struct {
		Accepted bool         `json:"accepted"`
		Headline string       `json:"headline"`
		Event    *alarm.Event `json:"event"`
	}{e.Kind != alarm.Refused, p.headline(v, o.Pump, e), e})
}

// sessionJSON tells a script who it is and which token its orders must bring,
// in the header X-Form-Token. Another site's page cannot read it.
func (p *Page) sessionJSON(w http.ResponseWriter, r *http.Request) {
	v := p.viewer(r, p.source.View().Site)
	if v.Role == Nobody {
		problem(w, http.StatusUnauthorized, "nobody is signed in: POST user and password to /login")
		return
	}
	writeJSON(w, http.StatusOK, struct {
		User  string `json:"user"`
		Role  string `json:"role"`
		Token string `json:"token"`
	}{v.User, v.Role.String(), v.Token})
}

func (p *Page) headline(v viewer, pump string, e *alarm.Event) string {
	return e.Whole(p.words(v, pump, e).Headline)
}

// words puts an event into words with the viewer's units.
func (p *Page) words(v viewer, pump string, e *alarm.Event) alarm.Message {
	names := p.source.Names(pump, e)
	names.Units = v.Units
	return alarm.Render(*e, names)
}

// carryOut checks an order and gives it to the rules.
func (p *Page) carryOut(ctx context.Context, v viewer, o order) (e *alarm.Event, status int, err error) {
	c, err := o.command(v)
	need, known := needs[o.Verb]
	switch {
	case !known:
		return nil, http.StatusBadRequest, errors.New(quoted(string(o.Verb)) + " is nothing that can be asked for")
	case err != nil:
		return nil, http.StatusBadRequest, err
	case v.Role < need:
		return nil, http.StatusForbidden, fmt.Errorf("this needs the role %v; %s is %v", need, v.User, v.Role)
	case o.Pump != "" && !slices.ContainsFunc(p.source.View().Pumps, func(one Pump) bool { return one.ID == o.Pump }):
		return nil, http.StatusNotFound, errors.New("there is no pump " + quoted(o.Pump))
	}
	e, err = p.source.Do(ctx, o.Pump, c)
	return e, http.StatusServiceUnavailable, err
}

// texts are what a record says in words.
func (o order) texts() string {
	e := o.Service
	if e == nil {
		return ""
	}
	var all strings.Builder
	all.WriteString(e.By + e.Reason + e.Action + e.Found + e.Side + e.Order)
	for _, p := range e.Parts {
		all.WriteString(p.Name + p.Number + p.Serial + p.Batch)
	}
	return all.String()
}

// command gives the order as the rules take it.
func (o order) command(v viewer) (drivers.Command, error) {
	c := drivers.Command{
		ID: "page-" + o.ID, User: v.User, Verb: o.Verb, Alarm: o.Alarm, Task: o.Task, Comment: strings.TrimSpace(o.Comment),
		For: time.Duration(o.Hours * float64(time.Hour)), Service: o.Service,
	}
	if o.Service != nil {
		c.Service.Note = c.Comment
	}
	if o.ID == "" {
		c.ID = "page-" + rand.Text()
	}
	switch {
	case !utf8.ValidString(o.Pump + o.Alarm + o.Task + o.Comment + o.ID + o.texts()):
		return c, errors.New("the text is not UTF-8")
	case len(o.Pump) > 64 || len(o.Alarm) > 128 || len(o.Task) > 64 || len(o.ID) > 64:
		return c, errors.New("a name is too long")
	case utf8.RuneCountInString(c.Comment) > commentMost:
		return c, fmt.Errorf("the comment is longer than %d characters", commentMost)
	case !(o.Hours >= 0 && o.Hours <= 10_000):
		return c, errors.New("the hours must be from 0 to 10,000")
	case (o.Verb == drivers.Shelve || o.Verb == drivers.Remove) && c.Comment == "":
		return c, errors.New("say why, for those who come after you")
	}
	return c, nil
}
