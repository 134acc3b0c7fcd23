package page

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"sync"
	"time"

	"pumpside/rules"
)

// How the event stream works: an open page looks at the snapshots ten times a
// second, which costs a pointer each, and renders its parts when one is new or
// a second has passed. Pages that show the same share the rendering.
const (
	looking   = 100 * time.Millisecond
	beat      = time.Second
	streams   = 200 // open at a time, at most
	sendWait  = 10 * time.Second
	keepParts = 15 * time.Second
)

// sharedParts are the parts of screens that are open, as last rendered.
type sharedParts struct {
	mu      sync.Mutex // guards of and open
	of      map[string]*shownParts
	open    int
	drawing sync.Mutex // one page is drawn at a time
}

// shownParts are the parts of one screen, by id.
type shownParts struct {
	stamp stamp
	order []string
	html  map[string]string
	used  time.Time
}

// A stamp tells whether what a screen shows may have changed.
type stamp struct {
	pumps  []*rules.Snapshot
	second int64
}

func (s stamp) same(o stamp) bool { return s.second == o.second && slices.Equal(s.pumps, o.pumps) }

func stampOf(view *View, pump string) stamp {
	s := stamp{second: view.At.Wall.Unix()}
	for _, one := range view.Pumps {
		if pump == "" || one.ID == pump {
			s.pumps = append(s.pumps, one.Snapshot)
		}
	}
	return s
}

// route finds the screen of a path as the browser shows it.
func route(path string) (build builder, a ask, err error) {
	u, err := url.Parse(path)
	if err != nil || len(path) > queryMost {
		return nil, a, errQuery("at is no path of this page")
	}
	query, err := url.ParseQuery(u.RawQuery)
	if err != nil {
		return nil, a, errQuery("at has a query that is not understood")
	}
	a = ask{Path: path, Query: query}
	key := u.Path
	switch id, cut := strings.CutPrefix(u.Path, "/pump/"); {
	case cut:
		key, a.Pump = "/pump/{pump}", id
	case u.Path == "/":
		key = "/{$}"
	}
	build, ok := screens[key]
	if !ok {
		return nil, a, errNotFound("there is no screen " + quoted(u.Path))
	}
	return build, a, nil
}

// A news is one message to an open page.
type news struct {
	At    string            `json:"at"` // the newest second, in the zone of the site
	Parts map[string]string `json:"parts,omitempty"`
	Order []string          `json:"order,omitempty"`
}

// events keeps a page up to date until its reader leaves or the agent stops.
func (p *Page) events(w http.ResponseWriter, r *http.Request) {
	build, a, err := route(r.URL.Query().Get("at"))
	if err == nil {
		a.Context = r.Context()
		_, err = p.parts(build, a, p.viewer(r, p.source.View().Site))
	}
	if err != nil {
		problem(w, statusOf(err), err.Error())
		return
	}
	if !p.shared.enter() {
		problem(w, http.StatusServiceUnavailable, "too many pages are open")
		return
	}
	defer p.shared.leave()
	s := stream{w: w, out: http.NewResponseController(w)}
	_ = s.out.SetReadDeadline(time.Time{}) // the request is over, the connection goes on
	w.Header().Set("Content-Type", "text/event-stream")
	w.Header().Set("X-Accel-Buffering", "no")
	if s.send("edition", p.edition) != nil {
		return
	}
	s.follow(r.Context(), p, r, build, a)
}

// A stream is one open page.
type stream struct {
	w     http.ResponseWriter
	out   *http.ResponseController
	sent  map[string]string
	order []string
	last  time.Time
}

func (s *stream) follow(ctx context.Context, p *Page, r *http.Request, build builder, a ask) {
	look := time.NewTicker(looking)
	defer look.Stop()
	for {
		if a.Pump != "" {
			p.source.Watch(a.Pump)
		}
		view := p.source.View()
		v := p.viewer(r, view.Site)
		if !p.mayRead(v) {
			return // the session has ended since
		}
		shown, err := p.parts(build, a, v)
		if err == nil {
			err = s.tell(shown, clock{view.Site.Zone}.second(view.At.Wall))
		}
		if err != nil {
			return // the browser comes back by itself
		}
		select {
		case <-ctx.Done():
			return
		case <-look.C:
		}
	}
}

// tell sends what differs from what was sent before; at least a beat.
func (s *stream) tell(shown *shownParts, at string) error {
	n := news{At: at}
	for id, html := range shown.html {
		if was, ok := s.sent[id]; !ok || was != html {
			if n.Parts == nil {
				n.Parts = map[string]string{}
			}
			n.Parts[id] = html
		}
	}
	if !slices.Equal(s.order, shown.order) {
		n.Order = shown.order
	}
	if n.Parts == nil && n.Order == nil && time.Since(s.last) < beat {
		return nil
	}
	s.sent, s.order, s.last = shown.html, shown.order, time.Now()
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false) // it travels as data, not as a page
	if err := e.Encode(n); err != nil {
		return err
	}
	return s.send("news", strings.TrimSpace(b.String()))
}

func (s *stream) send(event, data string) error {
	_ = s.out.SetWriteDeadline(time.Now().Add(sendWait))
	if _, err := fmt.Fprintf(s.w, "event: %s\ndata: %s\n\n", event, data); err != nil {
		return err
	}
	return s.out.Flush()
}

// parts gives the parts of a screen, rendered anew only when they may differ.
func (p *Page) parts(build builder, a ask, v viewer) (*shownParts, error) {
	view := p.source.View()
	now, key := stampOf(&view, a.Pump), fmt.Sprintf("%s|%d|%s", a.Path, v.Units, v.key)
	p.shared.drawing.Lock()
	defer p.shared.drawing.Unlock()
	if kept := p.shared.find(key); kept != nil && kept.stamp.same(now) {
		return kept, nil
	}
	shown := &shownParts{stamp: now, html: map[string]string{}}
	s, err := p.build(build, a, view, v)
	if err != nil {
		return nil, err
	}
	shown.order = s.Order
	var b bytes.Buffer
	for _, one := range s.Parts {
		b.Reset()
		if err := p.pages.ExecuteTemplate(&b, one.Template, one.Data); err != nil {
			return nil, err
		}
		shown.html[one.ID] = b.String()
	}
	p.shared.keep(key, shown)
	return shown, nil
}

func (s *sharedParts) find(key string) *shownParts {
	s.mu.Lock()
	defer s.mu.Unlock()
	kept := s.of[key]
	if kept != nil {
		kept.used = time.Now()
	}
	return kept
}

func (s *sharedParts) keep(key string, shown *shownParts) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for k, one := range s.of {
		if time.Since(one.used) > keepParts {
			delete(s.of, k)
		}
	}
	shown.used = time.Now()
	s.of[key] = shown
}

func (s *sharedParts) enter() bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.open >= streams {
		return false
	}
	s.open++
	return true
}

func (s *sharedParts) leave() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.open--
}
