package mqtt

import (
	"sync"
	"time"
)

// Facts are what metrics and the site's alarms need to know of the connection.
type Facts struct {
	Connected       bool      // the broker acknowledged our "online" and the connection has not been lost since
	Since           time.Time // when Connected last changed; zero before the first connection
	Connections     uint64    // made since Run began; one less are reconnects
	LastError       string    // why the last connection ended or was not made; "" when none ever failed
	LastErrorAt     time.Time // zero when none ever failed
	Delivered       uint64    // events acknowledged by the broker
	CommandsDropped uint64    // commands that came faster than they were answered
}

// facts are Facts that several goroutines use.
type facts struct {
	mu  sync.Mutex // guards now
	now Facts
}

func (f *facts) get() Facts {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.now
}

func (f *facts) connected(at time.Time) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.now.Connected, f.now.Since = true, at
	f.now.Connections++
}

// lost reports whether err is news: not the words of the failure before it.
func (f *facts) lost(at time.Time, err error) (news bool) {
	f.mu.Lock()
	defer f.mu.Unlock()
	news = f.now.Connected || err.Error() != f.now.LastError
	if f.now.Connected {
		f.now.Connected, f.now.Since = false, at
	}
	f.now.LastError, f.now.LastErrorAt = err.Error(), at
	return news
}

func (f *facts) stopped(at time.Time) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.now.Connected {
		f.now.Connected, f.now.Since = false, at
	}
}

func (f *facts) delivered(n int) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.now.Delivered += uint64(n)
}

func (f *facts) commandDropped() {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.now.CommandsDropped++
}
