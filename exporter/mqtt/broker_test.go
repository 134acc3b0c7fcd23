package mqtt

import (
	"context"
	"log/slog"
	"math/rand/v2"
	"net"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	mochi "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/hooks/auth"
	"github.com/mochi-mqtt/server/v2/listeners"
	"github.com/mochi-mqtt/server/v2/packets"

	"pumpside/drivers"
	"pumpside/rules/alarm"
)

// embedded is a broker inside the test.
type embedded struct {
	*mochi.Server
	address string
}

// startEmbedded starts a broker that writes what it takes into m. An empty
// address takes a free port.
func startEmbedded(t *testing.T, address string, m *mail) *embedded {
	t.Helper()
	if address == "" {
		address = "127.0.0.1:0"
	}
	var listener net.Listener
	eventually(t, "the port is free", func() (free bool) {
		var err error
		listener, err = net.Listen("tcp", address)
		return err == nil
	})
	b := &embedded{mochi.New(&mochi.Options{InlineClient: true, Logger: slog.New(slog.DiscardHandler)}), listener.Addr().String()}
	for _, hook := range []mochi.Hook{new(auth.AllowHook), &recorder{mail: m}} {
		if err := b.AddHook(hook, nil); err != nil {
			t.Fatal(err)
		}
	}
	if err := b.AddListener(listeners.NewNet("test", listener)); err != nil {
		t.Fatal(err)
	}
	if err := b.Serve(); err != nil {
		t.Fatal(err)
	}
	return b
}

// stop ends the broker and forgets everything.
func (b *embedded) stop(t *testing.T) {
	t.Helper()
	for range 200 { // a client that leaves while the broker closes can lock it up for good
		if b.Clients.Len() == 0 {
			break
		}
		time.Sleep(10 * time.Millisecond)
	}
	if err := b.Close(); err != nil {
		t.Error(err)
	}
}

// kept gives the payload retained at a topic, "" for none.
func (b *embedded) kept(topic string) string {
	if p, ok := b.Topics.Retained.Get(topic); ok {
		return string(p.Payload)
	}
	return ""
}

// recorder writes down what a broker takes.
type recorder struct {
	mochi.HookBase
	mail *mail
}

func (r *recorder) ID() string { return "recorder" }

func (r *recorder) Provides(b byte) bool { return b == mochi.OnPublish || b == mochi.OnWillSent }

func (r *recorder) OnPublish(_ *mochi.Client, p packets.Packet) (packets.Packet, error) {
	r.mail.add(letter{p.TopicName, string(p.Payload), p.FixedHeader.Retain, p.FixedHeader.Qos})
	return p, nil
}

func (r *recorder) OnWillSent(_ *mochi.Client, p packets.Packet) {
	r.mail.add(letter{p.TopicName, string(p.Payload), p.FixedHeader.Retain, p.FixedHeader.Qos})
}

func TestEveryEventReachesABroker(t *testing.T) {
	var m mail
	b := startEmbedded(t, "", &m)
	defer b.stop(t)
	outbox := newBox(entries(1, 100)...)
	p := publisher(outbox)
	p.Settings.Broker = "tcp://" + b.address
	stop := run(t, p)
	defer stop()
	eventually(t, "100 events", func() bool { return m.complete(t, 100) })
	outbox.put(entries(101, 120)...)
	eventually(t, "20 more", func() bool { return outbox.waiting() == 0 })
	stop()
	if n := checkDelivery(t, m.events(t), 120); n != 0 {
		t.Errorf("%d repeats on a healthy connection, want none", n)
	}
	if f := p.Facts(); f.Delivered != 120 || f.Connections != 1 || f.LastError != "" || f.Connected {
		t.Errorf("facts after stopping = %+v", f)
	}
}

func TestEventsOutliveABrokerThatStopsAndForgets(t *testing.T) {
	var m mail
	b := startEmbedded(t, "", &m)
	outbox := newBox(entries(1, 40)...)
	p := publisher(outbox)
	p.Settings.Broker = "tcp://" + b.address
	p.View = func() View { return standingView(alarm.Unacknowledged, 7) }
	stop := run(t, p)
	defer stop()
	topic := TopicsOf("north").Alarm("gp-1", "glycol_flow_low")
	eventually(t, "the state stands", func() bool { return b.kept(topic) != "" })
	b.stop(t)
	outbox.put(entries(41, 90)...)
	eventually(t, "the loss is noticed", func() bool { return !p.Facts().Connected })
	b = startEmbedded(t, b.address, &m)
	defer b.stop(t)
	eventually(t, "90 events", func() bool { return m.complete(t, 90) && outbox.waiting() == 0 })
	eventually(t, "the state stands again", func() bool { return strings.Contains(b.kept(topic), `"state":"unacknowledged"`) })
	stop()
	checkDelivery(t, m.events(t), 90)
	if f := p.Facts(); f.Connections < 2 || f.LastError == "" {
		t.Errorf("facts = %+v", f)
	}
	if s := b.kept(TopicsOf("north").Status()); !strings.Contains(s, `"reason":"stopped"`) {
		t.Errorf("status after a clean stop: %s", s)
	}
}

// breakable lets a test cut every connection as a dying process does.
type breakable struct {
	mu    sync.Mutex // guards the rest
	conns []*net.TCPConn
	dead  bool
}

func (b *breakable) dial(ctx context.Context, network, address string) (net.Conn, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.dead {
		return nil, net.ErrClosed
	}
	conn, err := new(net.Dialer).DialContext(ctx, network, address)
	if err == nil {
		b.conns = append(b.conns, conn.(*net.TCPConn))
	}
	return conn, err
}

func (b *breakable) kill() {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.dead = true
	for _, c := range b.conns {
		_ = c.CloseWrite()
		_ = c.CloseRead()
	}
}

func TestEventsOutliveAnAgentThatIsKilled(t *testing.T) {
	var m mail
	b := startEmbedded(t, "", &m)
	defer b.stop(t)
	const n, kills = 600, 12
	outbox := newBox(entries(1, n)...)
	random := rand.New(rand.NewPCG(7, 7))
	wills := func() int {
		said := m.on(TopicsOf("north").Status())
		return len(slices.DeleteFunc(said, func(s string) bool { return !strings.Contains(s, "connection_lost") }))
	}
	for killed := 1; killed <= kills; killed++ {
		line := new(breakable)
		p := publisher(outbox)
		p.Settings.Broker, p.Dial = "tcp://"+b.address, line.dial
		stop := run(t, p)
		target := outbox.waiting() - 1 - random.IntN(30)
		eventually(t, "some events", func() bool { return outbox.waiting() <= target })
		outbox = outbox.heir()
		line.kill()
		stop()
		eventually(t, "the broker publishes the will", func() bool { return wills() == killed })
	}
	p := publisher(outbox)
	p.Settings.Broker = "tcp://" + b.address
	stop := run(t, p)
	eventually(t, "the rest", func() bool { return outbox.waiting() == 0 })
	stop()
	t.Logf("%d events, %d kills, %d repeats", n, kills, checkDelivery(t, m.events(t), n))
}

func TestAPumpRemovedWhileTheAgentWasStoppedIsCleared(t *testing.T) {
	var m mail
	b := startEmbedded(t, "", &m)
	defer b.stop(t)
	topics := TopicsOf("north")
	old := []string{topics.Alarm("gp-9", "glycol_flow_low"), topics.Service("gp-9"), topics.Alarm("", "bus_gone"), topics.Alarm("gp-1", "no_longer_configured")}
	other := TopicsOf("south").Alarm("gp-9", "glycol_flow_low")
	for _, topic := range append(old, other) {
		if err := b.Publish(topic, []byte(`{"state":"unacknowledged"}`), true, 1); err != nil {
			t.Fatal(err)
		}
	}
	p := publisher(newBox())
	p.Settings.Broker = "tcp://" + b.address
	p.View = func() View { return standingView(alarm.Normal, 1) }
	stop := run(t, p)
	defer stop()
	for _, topic := range old {
		eventually(t, topic+" is cleared", func() bool { return b.kept(topic) == "" })
	}
	if b.kept(other) == "" {
		t.Error("another site's topic was cleared")
	}
	if b.kept(topics.Alarm("gp-1", "glycol_flow_low")) == "" {
		t.Error("an alarm that is configured does not stand")
	}
}

// obedient accepts every command but those of a user called "nobody".
type obedient struct {
	mu   sync.Mutex // guards the rest
	seen map[string]bool
	did  []string
}

func (o *obedient) First(_ context.Context, pump, id string, _ time.Time) (bool, error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	if o.seen == nil {
		o.seen = map[string]bool{}
	}
	first := !o.seen[pump+"/"+id]
	o.seen[pump+"/"+id] = true
	return first, nil
}

func (o *obedient) Do(_ context.Context, pump string, c drivers.Command) error {
	if c.User == "nobody" {
		return errNoPump
	}
	o.mu.Lock()
	defer o.mu.Unlock()
	o.did = append(o.did, pump+" "+string(c.Verb)+" "+c.Alarm)
	return nil
}
