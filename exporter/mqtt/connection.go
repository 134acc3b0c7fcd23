package mqtt

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/url"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
)

const (
	windowSize   = 8                // messages on the way at once
	handTimeout  = time.Second / 2  // for the library to take a message; see publish
	ackTimeout   = 10 * time.Second // for any answer of the broker
	stopTimeout  = 2 * time.Second  // for the last window and "offline" at a clean stop
	quiesce      = time.Second      // for the library to end its goroutines
	reasonDelay  = time.Second / 10 // from a failed message to the library's reason
	standingBeat = time.Second      // how often what stands is compared with what the broker has
)

// QoS of MQTT 3.1.1 §4.3.
const (
	atMostOnce  byte = 0
	atLeastOnce byte = 1
)

var (
	errNoAnswer = fmt.Errorf("the broker did not acknowledge within %v", ackTimeout)
	errClosed   = errors.New("the broker closed the connection")
)

// A message is one publication.
type message struct {
	topic    string
	payload  []byte
	retained bool
}

// A connection is one client of the library, from its connect to its end.
type connection struct {
	*Publisher
	client paho.Client
	wire   net.Conn
	lost   chan error // capacity 1; the library says once why the connection broke
	begun  time.Time
	due    bool // what stands must be compared with what the broker has
}

// connection makes one connection and works on it until it breaks, which is
// the error, or ctx ends and offline was said. established tells whether it
// got so far that the broker acknowledged "online".
func (p *Publisher) connection(ctx context.Context) (established bool, err error) {
	password, err := p.Settings.password()
	if err != nil {
		return false, fmt.Errorf("password_file: %w", err)
	}
	wire, err := p.dial(ctx)
	if err != nil {
		return false, err
	}
	c := &connection{Publisher: p, wire: wire, lost: make(chan error, 1), begun: p.Now().Wall, due: true}
	c.client = paho.NewClient(c.options(password))
	defer c.end(&err)

	if err := c.connect(ctx); err != nil {
		return false, err
	}
	// What is on the way when ctx ends may still arrive: it has stopTimeout.
	working, cancel := outlast(ctx, stopTimeout)
	defer cancel()
	if err := c.begin(working); err != nil {
		return false, err
	}
	p.facts.connected(p.Now().Wall)
	p.Log.Info().Str("broker", p.Settings.Broker).Msg("mqtt: connected")
	if err := c.work(ctx, working); err != nil {
		return true, err
	}
	return true, c.sayOffline(working)
}

func (c *connection) options(password string) *paho.ClientOptions {
	s := c.Settings
	o := paho.NewClientOptions().
		AddBroker("tcp://broker"). // never dialled: the wire is ours
		SetClientID(s.ClientID).SetUsername(s.User).SetPassword(password).
		SetProtocolVersion(4). // 3.1.1
		SetCleanSession(true).SetAutoReconnect(false).SetConnectRetry(false).
		SetConnectTimeout(dialTimeout).SetWriteTimeout(handTimeout).SetKeepAlive(s.KeepAlive).
		SetBinaryWill(c.topics.Status(), c.statusPayload("offline", "connection_lost"), atLeastOnce, true).
		SetConnectionLostHandler(func(_ paho.Client, err error) { c.lost <- err })
	o.SetCustomOpenConnectionFn(func(*url.URL, paho.ClientOptions) (net.Conn, error) { return c.wire, nil })
	return o
}

// connect says CONNECT and waits for CONNACK.
func (c *connection) connect(ctx context.Context) error {
	stop := context.AfterFunc(ctx, func() { _ = c.wire.Close() })
	defer stop()
	if err := c.await(ctx, c.client.Connect()); err != nil {
		return fmt.Errorf("log in: %w", err)
	}
	return nil
}

// begin says online and subscribes.
func (c *connection) begin(ctx context.Context) error {
	online := message{c.topics.Status(), c.statusPayload("online", ""), true}
	if _, err := c.deliver(ctx, []message{online}); err != nil {
		return fmt.Errorf("say online: %w", err)
	}
	if c.Settings.Commands {
		if err := c.subscribe(ctx, atLeastOnce, c.takeCommand, c.topics.commands()); err != nil {
			return err
		}
	}
	return c.beginSweep(ctx)
}

// subscribe asks for filters. A broker that refuses one is logged and lived
// with. handle is called from the library's receive loop and must not wait.
func (c *connection) subscribe(ctx context.Context, qos byte, handle paho.MessageHandler, filters ...string) error {
	for _, filter := range filters {
		token := c.client.Subscribe(filter, qos, handle)
		if err := c.acknowledged(ctx, token); err != nil {
			return fmt.Errorf("subscribe to %s: %w", filter, err)
		}
		// MQTT 3.1.1 §3.9.3: 0x80 is failure.
		if token.(*paho.SubscribeToken).Result()[filter] == 0x80 {
			c.Log.Warn().Str("filter", filter).Msg("mqtt: the broker refuses the subscription")
		}
	}
	return nil
}

// deliver publishes a window and waits for its acknowledgements in order. It
// returns how many came before one failed to. Behind a message that could not
// be handed over nothing is sent: it would arrive before it.
func (c *connection) deliver(ctx context.Context, window []message) (acknowledged int, err error) {
	var tokens []paho.Token
	for _, m := range window {
		token := c.publish(ctx, m, atLeastOnce)
		tokens = append(tokens, token)
		if token.Error() != nil {
			break
		}
	}
	for i, token := range tokens {
		if err := c.acknowledged(ctx, token); err != nil {
			return i, err
		}
	}
	return len(window), nil
}

// publish hands a message to the library. A library whose connection has just
// broken would keep us for the whole of its own timeout, a wire that takes
// nothing does so rightly: so that timeout is short, and asked for again while
// the connection is open. (The wire bounds its writes itself: see timedConn.)
func (c *connection) publish(ctx context.Context, m message, qos byte) paho.Token {
	for end := time.Now().Add(writeTimeout); ; {
		token := c.client.Publish(m.topic, qos, m.retained, m.payload)
		if token.Error() == nil || !c.client.IsConnectionOpen() || ctx.Err() != nil || time.Now().After(end) {
			return token
		}
	}
}

// acknowledged is await on an open connection: when that broke, the reason
// follows the token's own bare "connection lost".
func (c *connection) acknowledged(ctx context.Context, token paho.Token) error {
	err := c.await(ctx, token)
	if err == nil || token.Error() == nil {
		return err
	}
	select {
	case why := <-c.lost:
		return lostBecause(why)
	case <-time.After(reasonDelay):
		return err
	}
}

// await waits for what was asked of the broker. Only a nil error means that
// the broker answered.
func (c *connection) await(ctx context.Context, token paho.Token) error {
	timer := time.NewTimer(ackTimeout)
	defer timer.Stop()
	select {
	case <-token.Done():
		return token.Error()
	case err := <-c.lost:
		return lostBecause(err)
	case <-timer.C:
		return errNoAnswer
	case <-ctx.Done():
		return context.Cause(ctx)
	}
}

// sayOffline tells what the will would have told, because a clean disconnect
// suppresses it.
func (c *connection) sayOffline(ctx context.Context) error {
	offline := message{c.topics.Status(), c.statusPayload("offline", "stopped"), true}
	if _, err := c.deliver(ctx, []message{offline}); err != nil {
		return fmt.Errorf("say offline: %w", err)
	}
	return nil
}

// end leaves nothing behind. After a failure the wire is cut without the
// DISCONNECT that would suppress the will.
func (c *connection) end(err *error) {
	if *err != nil {
		_ = c.wire.Close()
	}
	c.client.Disconnect(uint(quiesce.Milliseconds()))
	_ = c.wire.Close()
}

// lostBecause puts the library's reason into words.
func lostBecause(err error) error {
	if err == nil || err.Error() == "EOF" {
		return errClosed
	}
	return fmt.Errorf("connection lost: %w", err)
}

// outlast gives a context that ends a while after ctx does.
func outlast(ctx context.Context, while time.Duration) (context.Context, context.CancelFunc) {
	longer, cancel := context.WithCancel(context.WithoutCancel(ctx))
	stop := context.AfterFunc(ctx, func() {
		timer := time.NewTimer(while)
		defer timer.Stop()
		select {
		case <-timer.C:
			cancel()
		case <-longer.Done():
		}
	})
	return longer, func() { stop(); cancel() }
}
