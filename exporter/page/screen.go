package page

import (
	"bytes"
	"context"
	"fmt"
	"net/http"
	"net/url"
	"time"
)

// A screen is one answer: what does not change while it is open, and the parts
// that do.
type screen struct {
	Title  string
	Nav    string // the entry of the navigation that leads here
	Body   string // its template
	Data   any
	View   View
	Viewer viewer
	Path   string // where it is, for forms to come back to

	Parts []part
	Order []string // ids of list items in their order, which may change

	Edition string
	places  map[string]int
}

// A part is a piece of a screen that is sent again when it has changed.
type part struct {
	ID       string // of the element whose content it is
	Template string
	Data     any
}

func (s *screen) add(id, template string, data any) {
	if s.places == nil {
		s.places = map[string]int{}
	}
	s.places[id] = len(s.Parts)
	s.Parts = append(s.Parts, part{id, template, data})
}

func (s *screen) part(id string) (part, error) {
	i, ok := s.places[id]
	if !ok {
		return part{}, fmt.Errorf("the screen has no part %q", id)
	}
	return s.Parts[i], nil
}

// Now is when the screen was made.
func (s *screen) Now() string { return s.Viewer.Clock.second(s.View.At.Wall) }

// Zone is the name of the zone of all times.
func (s *screen) Zone() string {
	name, _ := s.View.At.Wall.In(s.Viewer.Clock.zone).Zone()
	return name
}

// ClockSet reports whether the gateway's clock can be trusted.
func (s *screen) ClockSet() bool { return s.View.At.Synchronized }

// An ask is what a request wants to see.
type ask struct {
	context.Context
	Path  string // of the screen or answer
	Pump  string // "" where the path names none
	Query url.Values
}

func askOf(r *http.Request) ask {
	return ask{r.Context(), r.URL.RequestURI(), r.PathValue("pump"), r.URL.Query()}
}

// A builder makes a screen.
type builder func(p *Page, a ask, view View, v viewer) (*screen, error)

// screens are the builders by path. The event stream uses the same.
var screens = map[string]builder{
	"/{$}":         siteScreen,
	"/pump/{pump}": pumpScreen,
	"/alarms":      alarmsScreen,
	"/service":     serviceScreen,
	"/handover":    handoverScreen,
	"/bus":         busScreen,
}

func (p *Page) show(build builder) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		view := p.source.View()
		v := p.viewer(r, view.Site)
		v.Said = p.open.heard(v.key)
		s, err := p.build(build, askOf(r), view, v)
		if err != nil {
			p.fail(w, r, statusOf(err), sentence(err.Error())+".")
			return
		}
		p.write(w, http.StatusOK, s)
	})
}

func (p *Page) build(build builder, a ask, view View, v viewer) (*screen, error) {
	ctx, cancel := context.WithTimeout(a.Context, wait)
	defer cancel()
	a.Context = ctx
	s, err := build(p, a, view, v)
	if err != nil {
		return nil, err
	}
	s.View, s.Viewer, s.Path = view, v, a.Path
	return s, nil
}

func (p *Page) write(w http.ResponseWriter, status int, s *screen) {
	s.Edition = p.edition
	var b bytes.Buffer
	if err := p.pages.ExecuteTemplate(&b, "layout", s); err != nil {
		http.Error(w, "the page could not be made: "+err.Error(), http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(status)
	_, _ = w.Write(b.Bytes()) // a reader that left is no concern of ours
}

// wait bounds what a screen may wait for the store.
const wait = 2 * time.Second
