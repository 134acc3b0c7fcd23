package mqtt

import (
	"context"
	"sync"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"pumpside/rules/alarm"
)

// sweepTime is how long a first connection listens for what the broker still
// keeps of this site from an earlier run.
const sweepTime = 10 * time.Second

// mostSwept bounds what a broker can make us remember of topics we never named.
const mostSwept = 100_000

// A settled is what shall stand at a retained topic, on its way to the broker.
type settled struct {
	topic    string
	revision uint64 // at least 1; changes whenever the payload would
	payload  []byte // nil clears
}

// standing is what is known of the retained topics at the broker.
type standing struct {
	topics map[string]mark
	pass   uint64    // counts; the passes began with begin
	window []settled // of this pass

	sweepEnds time.Time // zero when no sweep is on
	swept     bool      // a sweep was ended in this Run
	mu        sync.Mutex
	found     map[string]bool // guarded by mu: topics a sweep met since the last pass
}

type mark struct {
	revision uint64 // the broker has; 0 is unknown
	pass     uint64 // in which it was last wanted
}

// forget makes every revision unknown: another broker may be behind the
// address, or one that has lost its memory.
func (s *standing) forget() {
	for topic := range s.topics {
		s.topics[topic] = mark{}
	}
}

// begin starts a pass over everything that shall stand.
func (s *standing) begin() {
	s.takeFound()
	s.pass++
	s.window = nil
}

// wants names one topic of the pass, and reports whether its payload must be
// sent in this pass's window.
func (s *standing) wants(topic string, revision uint64) bool {
	m := s.topics[topic]
	m.pass = s.pass
	s.topics[topic] = m
	return m.revision != revision && len(s.window) < windowSize
}

// send puts what is wanted into the window.
func (s *standing) send(topic string, revision uint64, payload []byte) {
	s.window = append(s.window, settled{topic, revision, payload})
}

// end closes the pass. When it was complete, what was not named is cleared.
func (s *standing) end(complete bool) []settled {
	for topic, m := range s.topics {
		if complete && m.pass != s.pass && len(s.window) < windowSize {
			s.window = append(s.window, settled{topic: topic})
		}
	}
	return s.window
}

// acknowledged notes what the broker has now.
func (s *standing) acknowledged(window []settled) {
	for _, w := range window {
		if w.payload == nil {
			delete(s.topics, w.topic)
		} else {
			s.topics[w.topic] = mark{w.revision, s.pass}
		}
	}
}

// takeFound adds what the sweep met and nobody has named.
func (s *standing) takeFound() {
	if s.topics == nil {
		s.topics = map[string]mark{}
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	for topic := range s.found {
		if _, known := s.topics[topic]; !known {
			s.topics[topic] = mark{}
		}
	}
	s.found = nil
}

func (s *standing) find(topic string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.found == nil {
		s.found = map[string]bool{}
	}
	if len(s.found) < mostSwept {
		s.found[topic] = true
	}
}

// beginSweep subscribes, on the first connection of a Run, to our own retained
// topics. That is how a pump taken out of the configuration while the agent
// was stopped is found and cleared.
func (c *connection) beginSweep(ctx context.Context) error {
	c.standing.forget()
	if c.standing.swept {
		return nil
	}
	c.standing.sweepEnds = time.Now().Add(sweepTime)
	return c.subscribe(ctx, atMostOnce, c.takeStanding, c.topics.standing()...)
}

// endSweep ends the sweep when its time is over.
func (c *connection) endSweep(ctx context.Context) error {
	if c.standing.swept || time.Now().Before(c.standing.sweepEnds) {
		return nil
	}
	c.standing.swept = true
	return c.acknowledged(ctx, c.client.Unsubscribe(c.topics.standing()...))
}

// takeStanding notes a retained topic; our own news come back without the
// retained flag.
func (c *connection) takeStanding(_ paho.Client, m paho.Message) {
	if m.Retained() && len(m.Payload()) > 0 {
		c.standing.find(m.Topic())
	}
}

// changed gives a window of what stands differently from what the broker has.
func (c *connection) changed() []settled {
	v := c.View()
	c.standing.begin()
	for i := range v.SiteAlarms {
		c.wantAlarm("", &v.SiteAlarms[i])
	}
	complete := true
	for _, p := range v.Pumps {
		if p == nil {
			complete = false
			continue
		}
		for i := range p.Alarms {
			c.wantAlarm(p.Pump, &p.Alarms[i])
		}
		topic, revision := c.topics.Service(p.Pump), serviceRevision(p)
		if c.standing.wants(topic, revision) {
			c.standing.send(topic, revision, c.servicePayload(p))
		}
	}
	c.wantReport(v.Report) // last: the largest, and nobody is called by it
	return c.standing.end(complete)
}

// wantAlarm names the topic of an alarm that was ever raised, or that a person
// keeps quiet. One that never was has none, so that who subscribes is told what
// happened and not what could.
func (c *connection) wantAlarm(pump string, a *alarm.View) {
	if a.Last == nil && !a.Shelved && !a.Removed {
		return
	}
	topic, revision := c.topics.Alarm(pump, a.Name), alarmRevision(a)
	if c.standing.wants(topic, revision) {
		c.standing.send(topic, revision, c.alarmPayload(pump, a))
	}
}
