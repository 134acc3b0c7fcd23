package page

import (
	"net"
	"net/http"
	"strings"
	"time"
)

const unitsCookie = "pumpside_units"

// sessionCookie is the name of the cookie of a session. The prefix lets a
// browser take it over TLS and for this host only.
func (p *Page) sessionCookie() string {
	if p.set.Secure {
		return "__Host-pumpside_session"
	}
	return "pumpside_session"
}

func (p *Page) cookie(name, value string, lasts time.Duration) *http.Cookie {
	return &http.Cookie{
		Name: name, Value: value, Path: "/", MaxAge: int(lasts.Seconds()), HttpOnly: true, Secure: p.set.Secure, SameSite: http.SameSiteStrictMode,
	}
}

// loginData is what the form to sign in shows.
type loginData struct {
	To, Name, Error string
	NoUsers         bool
}

func (p *Page) loginScreen(w http.ResponseWriter, r *http.Request) {
	p.askName(w, r, http.StatusOK, loginData{To: localPath(r.URL.Query().Get("to"))})
}

func (p *Page) askName(w http.ResponseWriter, r *http.Request, status int, d loginData) {
	view := p.source.View()
	users, err := p.roll.look()
	if err != nil {
		d.Error = "The users file cannot be read: " + err.Error()
	}
	d.NoUsers = len(users) == 0
	p.write(w, status, &screen{Title: "Sign in", Body: "login", Data: d, View: view, Viewer: p.viewer(r, view.Site), Path: "/login"})
}

// login checks a name and a password. Whether the name or the password was
// wrong is not told, and takes the same time.
func (p *Page) login(w http.ResponseWriter, r *http.Request) {
	if err := r.ParseForm(); err != nil {
		p.fail(w, r, http.StatusBadRequest, "The form is not understood. Nothing was changed.")
		return
	}
	name, password := strings.TrimSpace(r.PostForm.Get("user")), r.PostForm.Get("password")
	d := loginData{To: localPath(r.PostForm.Get("to")), Name: name}
	address, _, _ := net.SplitHostPort(r.RemoteAddr)
	keys := []string{"user " + strings.ToLower(name), "from " + address}
	u, ok, wait := p.admits(name, password, keys)
	if wait > 0 {
		d.Error = waitText(wait)
		p.askName(w, r, http.StatusTooManyRequests, d)
		return
	}
	if !ok {
		d.Error = "Name or password is wrong."
		if u.Outdated() {
			d.Error = "The password of " + u.Name + " must be set again, on the gateway: pumpside user add " + u.Name + " --role " + u.Role.String()
		}
		p.askName(w, r, http.StatusForbidden, d)
		return
	}
	http.SetCookie(w, p.cookie(p.sessionCookie(), p.open.begin(u, time.Now()), sessionLasts))
	http.Redirect(w, r, d.To, http.StatusSeeOther)
}

// decoy is checked for a name that is not there, so that it takes as long. No
// password opens it, for its hash is none of any.
var decoy = secret{cost: usualCost, salt: make([]byte, saltBytes), hash: make([]byte, hashBytes)}

// admits checks a name and a password, or says how long they must wait. keys are
// whom the door remembers: one who asks many times at once is told what came of
// the first before the next is checked.
func (p *Page) admits(name, password string, keys []string) (u User, ok bool, wait time.Duration) {
	if wait = p.door.wait(time.Now(), keys...); wait > 0 {
		return User{}, false, wait
	}
	if !p.door.enter() {
		return User{}, false, firstWait
	}
	defer p.door.leave()
	if wait = p.door.wait(time.Now(), keys...); wait > 0 {
		return User{}, false, wait
	}
	u, ok = p.opens(name, password)
	if ok {
		p.door.passed(keys...)
	} else {
		p.door.failed(time.Now(), keys...)
	}
	return u, ok, 0
}

func (p *Page) opens(name, password string) (User, bool) {
	if len(password) > PasswordMost {
		return User{}, false
	}
	u, known, err := p.roll.find(name)
	hash := u.hash
	if !known || u.Outdated() {
		hash = decoy
	}
	return u, hash.opensWith(password) && known && err == nil
}

func (p *Page) logout(w http.ResponseWriter, r *http.Request) {
	v, ok := p.mayChange(w, r, Viewer)
	if !ok {
		return
	}
	p.open.end(v.key)
	http.SetCookie(w, p.cookie(p.sessionCookie(), "", -time.Second))
	http.Redirect(w, r, "/", http.StatusSeeOther)
}

// chooseUnits keeps a viewer's units; it changes nothing for others.
func (p *Page) chooseUnits(w http.ResponseWriter, r *http.Request) {
	units := r.PostFormValue("units")
	if units != "metric" && units != "us_field" {
		p.fail(w, r, http.StatusBadRequest, "Units are metric or us_field.")
		return
	}
	http.SetCookie(w, p.cookie(unitsCookie, units, 365*24*time.Hour))
	http.Redirect(w, r, localPath(r.PostFormValue("back")), http.StatusSeeOther)
}
