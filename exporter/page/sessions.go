package page

import (
	"crypto/rand"
	"crypto/subtle"
	"fmt"
	"sync"
	"sync/atomic"
	"time"
)

// How long a session lasts, and how many there may be at a time.
const (
	sessionLasts = 12 * time.Hour // a shift
	sessionsMost = 256
)

// A session is a person who has signed in.
type session struct {
	user  string
	hash  string // of the password: a new one ends the session
	token string // that every form must bring along
	ends  time.Time
	said  string // what came of the last form, to be shown once
}

// sessions are those who have signed in, by the value of their cookie.
type sessions struct {
	mu   sync.Mutex // guards open
	open map[string]*session
}

// begin opens a session and gives its cookie. With too many open, the one that
// ends first is closed.
func (s *sessions) begin(u User, now time.Time) string {
	s.mu.Lock()
	defer s.mu.Unlock()
	first := ""
	for key, one := range s.open {
		switch {
		case now.After(one.ends):
			delete(s.open, key)
		case first == "" || one.ends.Before(s.open[first].ends):
			first = key
		}
	}
	if len(s.open) >= sessionsMost {
		delete(s.open, first)
	}
	key := rand.Text()
	s.open[key] = &session{user: u.Name, hash: u.hash.String(), token: rand.Text(), ends: now.Add(sessionLasts)}
	return key
}

// find gives a copy of the session of a cookie.
func (s *sessions) find(key string, now time.Time) (session, bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	one, ok := s.open[key]
	if !ok || now.After(one.ends) {
		return session{}, false
	}
	return *one, true
}

func (s *sessions) end(key string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	delete(s.open, key)
}

// say leaves a message for the next screen of a session.
func (s *sessions) say(key, text string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if one, ok := s.open[key]; ok {
		one.said = text
	}
}

// heard gives the message that was left, once.
func (s *sessions) heard(key string) string {
	s.mu.Lock()
	defer s.mu.Unlock()
	one, ok := s.open[key]
	if !ok {
		return ""
	}
	text := one.said
	one.said = ""
	return text
}

func (s *session) brings(token string) bool {
	return subtle.ConstantTimeCompare([]byte(s.token), []byte(token)) == 1
}

// Back-off of failed attempts to sign in: the first three are free, then the
// wait doubles from 2 s to five minutes; after an hour without one all is
// forgotten.
const (
	freeTries  = 3
	firstWait  = 2 * time.Second
	longestTry = 5 * time.Minute
	forgetting = time.Hour
	triesMost  = 1024
)

// A doorman makes those wait who guess, by name and by address.
type doorman struct {
	mu    sync.Mutex // guards tries
	tries map[string]*try
	one   sync.Mutex // one password is checked at a time: it costs a whole core
	queue atomic.Int32
}

// queueMost is how many may be at the door at once: one inside and four behind.
const queueMost = 5

// enter waits until nobody else is inside, or gives false at once when too many
// wait already. Who entered leaves.
func (d *doorman) enter() bool {
	if d.queue.Add(1) > queueMost {
		d.queue.Add(-1)
		return false
	}
	d.one.Lock()
	return true
}

func (d *doorman) leave() {
	d.one.Unlock()
	d.queue.Add(-1)
}

type try struct {
	failed int
	until  time.Time // not before
	last   time.Time
}

// wait gives how long any of the keys must wait still.
func (d *doorman) wait(now time.Time, keys ...string) (longest time.Duration) {
	d.mu.Lock()
	defer d.mu.Unlock()
	for _, key := range keys {
		if t := d.tries[key]; t != nil {
			longest = max(longest, t.until.Sub(now))
		}
	}
	return longest
}

// failed notes a failed attempt.
func (d *doorman) failed(now time.Time, keys ...string) {
	d.mu.Lock()
	defer d.mu.Unlock()
	for key, t := range d.tries {
		if now.Sub(t.last) > forgetting || len(d.tries) >= triesMost && now.After(t.until) {
			delete(d.tries, key)
		}
	}
	for _, key := range keys {
		t := d.tries[key]
		if t == nil {
			t = &try{}
			d.tries[key] = t
		}
		t.failed++
		t.last = now
		if over := t.failed - freeTries; over >= 0 {
			t.until = now.Add(min(firstWait<<min(over, 20), longestTry))
		}
	}
}

func (d *doorman) passed(keys ...string) {
	d.mu.Lock()
	defer d.mu.Unlock()
	for _, key := range keys {
		delete(d.tries, key)
	}
}

func waitText(d time.Duration) string {
	return fmt.Sprintf("Too many attempts. Try again in %s.", ago(d+time.Second-1))
}
