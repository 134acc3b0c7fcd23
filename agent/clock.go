package main

import (
	"fmt"
	"os"
	"strings"
	"time"

	"golang.org/x/sys/unix"

	"pumpside/drivers"
)

// A clock tells the moment as the rules need it: wall time, boot and time
// since boot.
type clock struct {
	boot    string
	trusted bool          // the wall clock always counts as right
	origin  time.Time     // carries Go's monotonic reading
	since   time.Duration // CLOCK_BOOTTIME at origin
	now     func() time.Time
	wall    func(time.Time) time.Time // what the wall clock showed at a moment
	steered func() bool               // by a time source, as far as the kernel knows
}

// newClock reads the kernel's boot id. A kernel without one gets the start of
// this process instead: then every start counts as a boot, which only makes
// the counters more careful.
func newClock(trusted bool) *clock {
	c := &clock{trusted: trusted, origin: time.Now(), now: time.Now, wall: asShown, steered: disciplined}
	if id, err := os.ReadFile("/proc/sys/kernel/random/boot_id"); err == nil {
		c.boot = strings.TrimSpace(string(id))
	} else {
		c.boot = fmt.Sprintf("process-%d-%d", os.Getpid(), c.origin.UnixNano())
	}
	c.since = sinceBoot()
	return c
}

// sinceBoot is CLOCK_BOOTTIME: it counts while the machine sleeps, too.
func sinceBoot() time.Duration {
	var ts unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_BOOTTIME, &ts); err != nil {
		return 0
	}
	return time.Duration(ts.Nano())
}

// at turns a moment of this process into an Instant. The time since boot
// comes from Go's monotonic reading, so a step of the wall clock does not
// move it.
func (c *clock) at(t time.Time) drivers.Instant {
	return drivers.Instant{
		Wall:         c.wall(t),
		Boot:         c.boot,
		SinceBoot:    c.since + t.Sub(c.origin),
		Synchronized: c.trusted || c.steered(),
	}
}

// asShown is the wall clock as it is: t without its monotonic reading.
func asShown(t time.Time) time.Time { return t.Round(0).UTC() }

// instant is at for the present.
func (c *clock) instant() drivers.Instant { return c.at(c.now()) }

// disciplined reports whether the kernel says that a time source steers the
// wall clock (adjtimex(2): STA_UNSYNC is off).
func disciplined() bool {
	var t unix.Timex
	_, err := unix.Adjtimex(&t)
	return err == nil && t.Status&unix.STA_UNSYNC == 0
}
