package main

import (
	"context"
	"fmt"
	"net"
	"os"
	"strconv"
	"time"

	"pumpside/agent/store"
)

// A notifier tells systemd how the agent is, by the protocol of sd_notify(3):
// datagrams to the socket that NOTIFY_SOCKET names. The zero notifier, without
// systemd, tells nobody.
type notifier struct {
	socket   string        // "" when nobody listens
	watchdog time.Duration // systemd restarts the agent when it hears nothing for so long; 0: it does not
}

// newNotifier reads the environment systemd has made.
func newNotifier(lookup func(string) string) notifier {
	n := notifier{socket: lookup("NOTIFY_SOCKET")}
	if len(n.socket) > 1 && n.socket[0] == '@' {
		n.socket = "\x00" + n.socket[1:] // an abstract socket, see unix(7)
	}
	micros, err := strconv.ParseInt(lookup("WATCHDOG_USEC"), 10, 64)
	pid := lookup("WATCHDOG_PID") // "" means whoever asks
	if err == nil && micros > 0 && (pid == "" || pid == strconv.Itoa(os.Getpid())) {
		n.watchdog = time.Duration(micros) * time.Microsecond
	}
	return n
}

// say sends one message. What cannot be sent is dropped: a watchdog that is
// not fed says it better.
func (n notifier) say(message string) {
	if n.socket == "" {
		return
	}
	conn, err := net.DialUnix("unixgram", nil, &net.UnixAddr{Name: n.socket, Net: "unixgram"})
	if err != nil {
		return
	}
	_, _ = conn.Write([]byte(message))
	_ = conn.Close()
}

// beat is how often the agent looks at itself.
func (n notifier) beat() time.Duration {
	const usual = 5 * time.Second
	if n.watchdog > 0 {
		return min(usual, n.watchdog/3)
	}
	return usual
}

// run says that the agent is ready once well finds nothing wrong, and feeds the
// watchdog for as long as it finds nothing, until ctx ends.
func (n notifier) run(ctx context.Context, doing string, well func() error) error {
	if n.socket == "" {
		return nil
	}
	const eager = 100 * time.Millisecond // somebody waits for the start
	ready, wait := false, eager
	for {
		switch err := well(); {
		case err != nil:
			n.say(fmt.Sprintf("STATUS=not well: %v", err))
		case !ready:
			n.say("READY=1\nWATCHDOG=1\nSTATUS=" + doing)
			ready, wait = true, n.beat()
		default:
			n.say("WATCHDOG=1\nSTATUS=" + doing)
		}
		select {
		case <-ctx.Done():
			return nil
		case <-time.After(wait):
		}
	}
}

// A headway finds work that stands still without saying so, such as a write
// that never returns.
type headway struct {
	done uint64    // how much was done when it last changed
	at   time.Time // when that was; Go's monotonic clock counts, so that a clock step matters not
}

// moved notes how much is done by now, and reports whether that has changed
// within patience.
func (h *headway) moved(done uint64, now time.Time, patience time.Duration) bool {
	if h.at.IsZero() || done != h.done {
		h.done, h.at = done, now
	}
	return now.Sub(h.at) <= patience
}

// restartMayHelp is how long the store may fail before the watchdog is left
// hungry. Until then the agent is worth more alive: it alarms without the file
// and keeps what it could not write in memory. On a full disk it always is: a
// restart makes no room and forgets what waits.
const restartMayHelp = 10 * time.Minute

// wellness gives a function that says what stands still: a bus that is not
// polled, a writer that neither commits nor fails, a store that has failed for
// long. It belongs to one goroutine.
func (g *gateway) wellness() func() error {
	var writing headway
	return func() error {
		s := g.writer.Status()
		if err := hopeless(&s); err != nil {
			return err
		}
		patience := 3*g.config.Store.SaveInterval + time.Minute
		if !writing.moved(s.Commits+uint64(s.Failures), time.Now(), patience) {
			return fmt.Errorf("nothing was written for %v", patience)
		}
		return g.polling()
	}
}

// hopeless says that only a restart may help a store that fails, or gives nil.
func hopeless(s *store.Status) error {
	failing := time.Since(s.FailingSince)
	if s.Err == nil || store.IsDiskFull(s.Err) || failing <= restartMayHelp {
		return nil
	}
	return fmt.Errorf("the store has failed for %v: %w", failing.Round(time.Second), s.Err)
}

// doing is what systemctl status shows.
func (g *gateway) doing() string {
	return fmt.Sprintf("polling %d bus(es) for %d pump(s), configuration %s", len(g.pollers), len(g.pumps), g.config.Hash)
}
