package page

import (
	"errors"
	"html/template"
	"net/http"
	"strings"
	"time"

	"pumpside/rules/alarm"
)

// Settings are what the configuration fixes of the page.
type Settings struct {
	Loopback  bool   // it is served on a loopback address only: reading is free
	Secure    bool   // it is served over TLS
	UsersFile string // "" when nobody may change anything
}

// A Page serves the screens, the API and the event stream. Make one with New.
type Page struct {
	set     Settings
	source  Source
	pages   *template.Template
	roll    *roll
	open    sessions
	door    doorman
	tails   tails
	plans   plans
	shared  sharedParts
	edition string // changes when open pages must load again: another build or configuration
}

// New gives a page over a source.
func New(set Settings, source Source) (*Page, error) {
	agent := source.View().Agent
	p := &Page{
		set: set, source: source, roll: &roll{path: set.UsersFile},
		open: sessions{open: map[string]*session{}}, door: doorman{tries: map[string]*try{}},
		tails: tails{of: map[string]tail{}}, shared: sharedParts{of: map[string]*shownParts{}},
		edition: assetsHash + "-" + agent.ConfigHash + "-" + agent.Started.UTC().Format("150405.000"),
	}
	var err error
	p.pages, err = parsePages()
	return p, err
}

// Handler serves the page.
func (p *Page) Handler() http.Handler {
	mux := http.NewServeMux()
	for path, build := range screens {
		mux.Handle("GET "+path, p.reading(p.show(build)))
	}
	for path, answer := range answers {
		mux.Handle("GET /api/v1"+path, p.reading(p.answerJSON(answer)))
	}
	mux.Handle("GET /service/sheet", p.reading(http.HandlerFunc(p.sheet)))
	mux.HandleFunc("GET /api/v1/session", p.sessionJSON)
	mux.Handle("GET /events", p.reading(http.HandlerFunc(p.events)))
	mux.HandleFunc("GET /static/{file}", serveAsset)
	mux.HandleFunc("GET /login", p.loginScreen)
	mux.HandleFunc("POST /login", p.login)
	mux.HandleFunc("POST /logout", p.logout)
	mux.HandleFunc("POST /units", p.chooseUnits)
	mux.HandleFunc("POST /orders", p.orderForm)
	mux.HandleFunc("POST /api/v1/orders", p.orderJSON)
	mux.HandleFunc("/", func(w http.ResponseWriter, r *http.Request) {
		if r.Method != http.MethodGet && r.Method != http.MethodHead {
			p.fail(w, r, http.StatusMethodNotAllowed, "Nothing here takes a "+quoted(r.Method)+". Nothing was changed.")
			return
		}
		p.fail(w, r, http.StatusNotFound, "There is no such page here.")
	})
	var foreign http.CrossOriginProtection
	foreign.SetDenyHandler(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		p.fail(w, r, http.StatusForbidden, "The request came from another site's page. Nothing was changed.")
	}))
	return p.guard(compressed(foreign.Handler(mux)))
}

// A viewer is who looks, and how that person wants things written.
type viewer struct {
	Units alarm.Units
	Clock clock
	User  string
	Role  Role
	Token string // for forms; "" for nobody
	Said  string // what came of the last form
	key   string // of the session
}

// MayOperate and MayService are what the forms of a screen depend on.
func (v viewer) MayOperate() bool { return v.Role >= Operator }
func (v viewer) MayService() bool { return v.Role >= Technician }

// Field reports whether the viewer reads US field units.
func (v viewer) Field() bool { return v.Units == alarm.Field }

// viewer finds out who asks. A session ends with its user, and with a new
// password of that user.
func (p *Page) viewer(r *http.Request, site Site) viewer {
	v := viewer{Units: site.Units, Clock: clock{site.Zone}}
	if c, err := r.Cookie(unitsCookie); err == nil {
		switch c.Value {
		case "metric":
			v.Units = alarm.Metric
		case "us_field":
			v.Units = alarm.Field
		}
	}
	c, err := r.Cookie(p.sessionCookie())
	if err != nil {
		return v
	}
	s, ok := p.open.find(c.Value, time.Now())
	if !ok {
		return v
	}
	u, known, err := p.roll.find(s.user)
	if err != nil || !known || u.hash.String() != s.hash {
		p.open.end(c.Value)
		return v
	}
	v.User, v.Role, v.Token, v.key = u.Name, u.Role, s.token, c.Value
	return v
}

// mayRead reports whether somebody may see the screens.
func (p *Page) mayRead(v viewer) bool { return p.set.Loopback || v.Role >= Viewer }

// reading lets through who may read.
func (p *Page) reading(next http.Handler) http.Handler {
	if p.set.Loopback {
		return next
	}
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		switch {
		case p.mayRead(p.viewer(r, p.source.View().Site)):
			next.ServeHTTP(w, r)
		case wantsJSON(r) || r.URL.Path == "/events":
			problem(w, http.StatusUnauthorized, "sign in first: POST user and password to /login")
		default:
			http.Redirect(w, r, "/login?to="+urlQuery(r.URL.RequestURI()), http.StatusSeeOther)
		}
	})
}

// errNotFound is what a screen returns for something that is not there; its
// text is shown.
type errNotFound string

func (e errNotFound) Error() string { return string(e) }

// errQuery is what a screen returns for a query it cannot make sense of.
type errQuery string

func (e errQuery) Error() string { return string(e) }

func statusOf(err error) int {
	var missing errNotFound
	var query errQuery
	switch {
	case errors.As(err, &missing):
		return http.StatusNotFound
	case errors.As(err, &query):
		return http.StatusBadRequest
	}
	return http.StatusInternalServerError
}

func wantsJSON(r *http.Request) bool { return strings.HasPrefix(r.URL.Path, "/api/") }

// fail answers with a clear page, or a JSON problem to a script.
func (p *Page) fail(w http.ResponseWriter, r *http.Request, status int, text string) {
	if wantsJSON(r) {
		problem(w, status, text)
		return
	}
	view := p.source.View()
	p.write(w, status, &screen{Title: http.StatusText(status), Body: "problem", Data: text, View: view, Viewer: p.viewer(r, view.Site)})
}
