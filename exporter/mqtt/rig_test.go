package mqtt

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"pumpside/drivers"
	"pumpside/drivers/quantity"
	"pumpside/rules"
	"pumpside/rules/alarm"
)

// box is an outbox in memory. A killed one answers nobody any more, but what
// was not delivered outlives it in its heir.
type box struct {
	mu      sync.Mutex // guards the rest
	entries []Entry
	killed  bool
	sick    error // Delivered answers this
	ready   chan struct{}
}

func newBox(entries ...Entry) *box {
	b := &box{ready: make(chan struct{}, 1)}
	b.put(entries...)
	return b
}

func (b *box) put(entries ...Entry) {
	b.mu.Lock()
	b.entries = append(b.entries, entries...)
	b.mu.Unlock()
	select {
	case b.ready <- struct{}{}:
	default:
	}
}

func (b *box) Oldest(_ context.Context, n int) ([]Entry, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.killed {
		return nil, errors.New("killed")
	}
	return append([]Entry(nil), b.entries[:min(n, len(b.entries))]...), nil
}

func (b *box) Delivered(_ context.Context, done []Entry) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.killed {
		return errors.New("killed")
	}
	if b.sick != nil {
		return b.sick
	}
	b.entries = slices.DeleteFunc(slices.Clone(b.entries), func(e Entry) bool {
		return slices.ContainsFunc(done, func(d Entry) bool { return d.Pump == e.Pump && d.Event.Seq == e.Event.Seq })
	})
	return nil
}

func (b *box) Ready() <-chan struct{} { return b.ready }

func (b *box) waiting() int {
	b.mu.Lock()
	defer b.mu.Unlock()
	return len(b.entries)
}

func (b *box) setSick(err error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.sick = err
}

// heir is what a restarted agent finds after b was killed.
func (b *box) heir() *box {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.killed = true
	return newBox(b.entries...)
}

var noon = time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)

func instant(after time.Duration) drivers.Instant {
	return drivers.Instant{Wall: noon.Add(after), Boot: "boot-1", SinceBoot: time.Hour + after, Synchronized: true}
}

// present is the present of a gateway that booted an hour before the test began.
func present() drivers.Instant {
	return drivers.Instant{Wall: time.Now(), Boot: "boot-1", SinceBoot: time.Hour, Synchronized: true}
}

// subjects take turns in entries.
var subjects = []string{"gp-1", "gp-2", ""}

// entries gives the entries first..last of an outbox that is shared by two
// pumps and the site.
func entries(first, last int) []Entry {
	var all []Entry
	for i := first; i <= last; i++ {
		all = append(all, Entry{
			Pump: subjects[i%len(subjects)], Stored: true,
			Event: alarm.Event{
				Seq: uint64((i-1)/len(subjects) + 1), Kind: alarm.Raised, At: instant(time.Duration(i) * time.Second),
				Alarm: "glycol_flow_low", Occurrence: uint64(i), State: alarm.Unacknowledged, Quality: drivers.Good,
			},
		})
	}
	return all
}

// publisher gives a Publisher of a small site that talks to nobody yet.
func publisher(outbox Outbox) *Publisher {
	return &Publisher{
		Settings: Settings{Broker: "tcp://127.0.0.1:1", ClientID: "pumpside-north", KeepAlive: 20 * time.Second},
		Site:     Site{Name: "north", StreamID: "stream-a", AgentVersion: "1.2.3", ConfigHash: "c0ffee", Pumps: []string{"gp-1", "gp-2"}},
		Outbox:   outbox,
		Names: func(pump string, _ *alarm.Event) alarm.Site {
			return alarm.Site{Name: "North", Pump: pump, Tag: strings.ToUpper(pump)}
		},
		View: func() View { return View{} },
		Now:  present,
		Log:  zerolog.Nop(),
	}
}

// standingView is a View of one pump with one alarm in a state, and an alarm of
// the site.
func standingView(s alarm.State, seq uint64) View {
	last := alarm.Event{Seq: seq, Alarm: "glycol_flow_low", Occurrence: 1, At: instant(0), Value: &alarm.Quantity{Value: 0.0001, Dimension: quantity.Flow}}
	return View{
		Pumps: []*rules.Snapshot{{
			Pump: "gp-1", At: instant(0), Running: alarm.Yes,
			Alarms: []alarm.View{{Name: "glycol_flow_low", State: s, ChangedAt: instant(0), Last: &last}},
		}},
		SiteAlarms: []alarm.View{{Name: "clock_wrong", Last: &alarm.Event{Seq: 1, Alarm: "clock_wrong"}}, {Name: "never_raised"}},
	}
}

// run starts p and gives a function that stops it and waits for its end.
func run(t *testing.T, p *Publisher) (stop func()) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- p.Run(ctx) }()
	once := sync.OnceFunc(func() {
		cancel()
		if err := <-done; err != nil {
			t.Errorf("Run = %v, want nil", err)
		}
	})
	return once
}

// eventually waits for what real sockets take a moment for.
func eventually(t *testing.T, what string, done func() bool) {
	t.Helper()
	for deadline := time.Now().Add(60 * time.Second); !done(); time.Sleep(2 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatalf("never: %s", what)
		}
	}
}

// A letter is a publication as a receiver gets it.
type letter struct {
	topic    string
	payload  string
	retained bool
	qos      byte
}

// mail collects letters in the order they came.
type mail struct {
	mu  sync.Mutex // guards all
	all []letter
}

func (m *mail) add(l letter) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.all = append(m.all, l)
}

func (m *mail) letters() []letter {
	m.mu.Lock()
	defer m.mu.Unlock()
	return append([]letter(nil), m.all...)
}

// on gives the payloads on one topic.
func (m *mail) on(topic string) (payloads []string) {
	for _, l := range m.letters() {
		if l.topic == topic {
			payloads = append(payloads, l.payload)
		}
	}
	return payloads
}

// events gives the events among the letters.
func (m *mail) events(t *testing.T) (all []EventPayload) {
	t.Helper()
	for _, l := range m.letters() {
		var e EventPayload
		if err := json.Unmarshal([]byte(l.payload), &e); err == nil && e.Schema == root+"event" {
			all = append(all, e)
		}
	}
	return all
}

// complete reports whether the last event of n came, for polling.
func (m *mail) complete(t *testing.T, n int) bool {
	t.Helper()
	seen := map[string]bool{}
	for _, e := range m.events(t) {
		seen[eventKey(e)] = true
	}
	return len(seen) == n
}

func eventKey(e EventPayload) string {
	pump := ""
	if e.Pump != nil {
		pump = *e.Pump
	}
	return fmt.Sprintf("%s/%s/%d", e.StreamID, pump, e.Seq)
}

// checkDelivery is the promise: of n entries every one came, in order, and
// exactly once when repeats are dropped by stream_id, pump and seq. It returns
// how many came again.
func checkDelivery(t *testing.T, events []EventPayload, n int) (repeats int) {
	t.Helper()
	seen := map[string]bool{}
	last := map[string]uint64{}
	for _, e := range events {
		if seen[eventKey(e)] {
			repeats++
			continue
		}
		seen[eventKey(e)] = true
		pump := ""
		if e.Pump != nil {
			pump = *e.Pump
		}
		if e.Seq != last[pump]+1 {
			t.Errorf("pump %q: seq %d came after %d", pump, e.Seq, last[pump])
		}
		last[pump] = e.Seq
	}
	if len(seen) != n {
		t.Errorf("%d of %d events came", len(seen), n)
	}
	return repeats
}
