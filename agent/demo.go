package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	broker "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/listeners"
	"github.com/rs/zerolog"
	"github.com/spf13/cobra"
	"golang.org/x/sync/errgroup"

	"pumpside/configs"
	"pumpside/rules/alarm"
	"pumpside/simulator"
)

// The story of the demo, in real time. The opening hours put GP-1 seconds
// before 500 h; everything else follows from what happens to the skids.
const (
	demoSite     = "ridge-7"
	demoOpening  = "499.9945 h" // 20 s before the run-in oil change
	demoFlowLost = 45 * time.Second
	demoFlowBack = 155 * time.Second
	demoChange   = 187 * time.Second
	demoSilent   = 202 * time.Second
	demoHeard    = 255 * time.Second
)

// How the tale begins with a new state file, and with that of a demo before.
const (
	demoNew   = "GP-1 circulates glycol, GP-2 stands by. GP-1 is new: its first oil must be changed after 500 h, which it reaches in about 20 s."
	demoAgain = "GP-1 circulates glycol again, GP-2 stands by, with the hours and what was due when the last demo was left. The simulated meters begin anew, which the agent notices."
)

var demoTale = []struct {
	at   time.Duration
	text string
}{
	{0, demoNew}, // or demoAgain
	{demoFlowLost, "Behind the scenes: the suction of GP-1 is closed. It still turns; the agent should notice that nothing comes out, and that nobody else circulates."},
	{demoFlowBack, "Behind the scenes: the suction is open again, GP-1 primes."},
	{demoChange, "Behind the scenes: the operator hands duty over to GP-2."},
	{demoSilent, "Behind the scenes: the instrument module of GP-2 stops answering. Its drive, on the same line, still says that it runs."},
	{demoHeard, "Behind the scenes: the module answers again."},
	{demoHeard + 40*time.Second, "That was the story. The pumps go on; stop with Ctrl-C."},
}

func demoCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "demo",
		Short: "Two simulated pumps, a broker and the agent in this terminal; a story of a few minutes",
		Args:  cobra.NoArgs,
	}
	keep := c.Flags().String("keep", "", "keep the state in this `folder`; otherwise nothing is left behind")
	last := c.Flags().Duration("for", 0, "stop by itself after this time; 0 waits for Ctrl-C")
	seed := c.Flags().Uint64("seed", 1, "of the simulated pumps")
	c.RunE = func(c *cobra.Command, _ []string) error {
		ctx := c.Context()
		if *last > 0 {
			var cancel context.CancelFunc
			ctx, cancel = context.WithTimeout(ctx, *last)
			defer cancel()
		}
		return demo(ctx, c.OutOrStdout(), *keep, *seed)
	}
	return c
}

func demo(ctx context.Context, out io.Writer, keep string, seed uint64) (err error) {
	folder := keep
	if folder == "" {
		if folder, err = os.MkdirTemp("", "pumpside-demo-"); err != nil {
			return err
		}
		defer func() { err = errors.Join(err, os.RemoveAll(folder)) }()
	} else if err = os.MkdirAll(folder, 0o755); err != nil {
		return err
	}
	stage, err := setStage(seed)
	if err != nil {
		return err
	}
	config, err := stage.configure(folder)
	if err != nil {
		return errors.Join(err, stage.close())
	}
	t := &tale{out: out, began: time.Now(), opening: openingOf(config.Store.Path)}
	g, err := open(config, zerolog.Nop(), t.event)
	if err != nil {
		return errors.Join(err, stage.close())
	}
	t.words, g.bound = g.words, stage.free
	stage.announce(out, config, folder, keep != "")
	group, ctx := errgroup.WithContext(ctx)
	group.Go(func() error { return stage.server.Serve(ctx, stage.modbus, simulator.TCP) })
	group.Go(func() error { return t.tell(ctx) })
	group.Go(func() error { return g.run(ctx) })
	if err = errors.Join(group.Wait(), g.close(), stage.closeBroker()); err == nil {
		fmt.Fprintln(out, "\nstopped cleanly")
	}
	return err
}

// openingOf tells a new state file from that of a demo before.
func openingOf(state string) string {
	if _, err := os.Stat(state); err != nil {
		return demoNew
	}
	return demoAgain
}

// A stage is what the demo plays on: skids behind a Modbus server and a
// broker. It keeps every port from the moment it was found free, so that two
// demos that start together do not take each other's.
type stage struct {
	server  *simulator.Server
	modbus  net.Listener
	mqtt    *broker.Server
	broker  string                  // host:port
	metrics string                  // host:port
	page    string                  // host:port
	free    map[string]net.Listener // for the agent, by address
}

// closeBroker closes the broker once the agent has left it: a client that
// leaves while the broker closes can lock it up for good.
func (s *stage) closeBroker() error {
	for range 100 {
		if _, there := s.mqtt.Clients.Get("pumpside-" + demoSite); !there {
			break
		}
		time.Sleep(10 * time.Millisecond)
	}
	return s.mqtt.Close()
}

// close gives back what nobody uses yet.
func (s *stage) close() error {
	err := errors.Join(s.modbus.Close(), s.mqtt.Close())
	for _, l := range s.free {
		err = errors.Join(err, l.Close())
	}
	return err
}

func setStage(seed uint64) (*stage, error) {
	s := &stage{}
	var skids []*simulator.Skid
	for i := range 2 {
		set := simulator.DefaultSettings(seed + uint64(i))
		set.Running, set.RunHours, set.PowerOnHours = i == 0, 499.99, 812 // duty and standby
		skid, err := simulator.NewSkid(set)
		if err != nil {
			return nil, err
		}
		skids = append(skids, skid)
	}
	story := simulator.Scenario{
		{Skid: 0, Event: simulator.Event{At: demoFlowLost, Do: simulator.SuctionClosed, Size: 1}},
		{Skid: 0, Event: simulator.Event{At: demoFlowBack, Do: simulator.SuctionClosed, Size: 0}},
		{Skid: 1, Event: simulator.Event{At: demoChange, Do: simulator.DemandOn}},
		{Skid: 1, Event: simulator.Event{At: demoChange, Do: simulator.Start}},
		{Skid: 0, Event: simulator.Event{At: demoChange + 5*time.Second, Do: simulator.DemandOff}},
		{Skid: 0, Event: simulator.Event{At: demoChange + 5*time.Second, Do: simulator.Stop}},
		{Skid: 1, Event: simulator.Event{At: demoSilent, Do: simulator.DeviceSilent, Device: simulator.Instruments}},
		{Skid: 1, Event: simulator.Event{At: demoHeard, Do: simulator.DeviceAnswering, Device: simulator.Instruments}},
	}
	if err := story.Apply(skids); err != nil {
		return nil, err
	}
	s.server = &simulator.Server{Units: skidUnits(skids)}
	var err error
	if s.modbus, err = listenNear("127.0.0.1:5020"); err != nil {
		return nil, err
	}
	if err := s.startBroker(); err != nil {
		return nil, errors.Join(err, s.modbus.Close())
	}
	s.free = map[string]net.Listener{}
	for _, wanted := range []struct {
		address string
		where   *string
	}{{"127.0.0.1:9793", &s.metrics}, {"127.0.0.1:8793", &s.page}} {
		l, err := listenNear(wanted.address)
		if err != nil {
			return nil, errors.Join(err, s.close())
		}
		*wanted.where = l.Addr().String()
		s.free[*wanted.where] = l
	}
	return s, nil
}

// listenNear listens at address, or at any free port when it is taken.
func listenNear(address string) (net.Listener, error) {
	if l, err := net.Listen("tcp", address); err == nil {
		return l, nil
	}
	return net.Listen("tcp", "127.0.0.1:0")
}

func (s *stage) startBroker() error {
	s.mqtt = broker.New(&broker.Options{Logger: slog.New(slog.DiscardHandler)})
	if err := s.mqtt.AddHook(new(openDoor), nil); err != nil {
		return err
	}
	l, err := listenNear("127.0.0.1:1883")
	if err != nil {
		return err
	}
	s.broker = l.Addr().String()
	if err := s.mqtt.AddListener(listeners.NewNet("demo", l)); err != nil {
		return err
	}
	return s.mqtt.Serve()
}

// configure writes the demo's configuration and loads it like any other.
func (s *stage) configure(folder string) (*configs.Config, error) {
	bus := "tcp: " + s.modbus.Addr().String()
	var text strings.Builder
	err := writeSkids(&text, skidSite{
		ID: demoSite, Title: "Ridge Station 7", Location: "km 12 of the north road", Hazards: "[no mobile coverage in the pump house]", Metrics: s.metrics, Page: s.page, Broker: "tcp://" + s.broker,
		Store: filepath.Join(folder, "pumpside.db"), Save: "60 s", Log: "info", Circulation: "north circulation", Required: 1,
		Skids: []skidPump{
			{ID: "gp-1", Tag: "GP-1", Bus: bus, Drive: 1, Module: 2, Opening: demoOpening},
			{ID: "gp-2", Tag: "GP-2", Bus: bus, Drive: 3, Module: 4, Opening: "211 h"},
		},
	})
	if err != nil {
		return nil, err
	}
	path := filepath.Join(folder, "pumpside.yaml")
	if err := os.WriteFile(path, []byte(text.String()), 0o644); err != nil {
		return nil, err
	}
	return loadConfig(path)
}

func (s *stage) announce(out io.Writer, c *configs.Config, folder string, kept bool) {
	host, port, _ := net.SplitHostPort(s.broker)
	fmt.Fprintf(out, `pumpside demo: %s, two simulated pumps; nothing leaves this machine

  page        http://%s
  metrics     http://%s/metrics
  alerts      mosquitto_sub -h %s -p %s -v -t 'pumpside/v1/%s/#'
  registers   Modbus TCP at %s, units 1 to 4
`, c.Site.Title, s.page, s.metrics, host, port, c.Site.ID, s.modbus.Addr())
	if kept {
		fmt.Fprintf(out, "  state       %s (pumpside alarms list --config %s)\n", folder, filepath.Join(folder, "pumpside.yaml"))
	}
	fmt.Fprintln(out)
}

// A tale is told in the terminal as it happens.
type tale struct {
	out     io.Writer
	began   time.Time
	opening string // what its first part says
	words   words
	mu      sync.Mutex // guards out
}

func (t *tale) tell(ctx context.Context) error {
	parts := slices.Clone(demoTale)
	parts[0].text = t.opening
	for _, part := range parts {
		select {
		case <-ctx.Done():
			return nil
		case <-time.After(time.Until(t.began.Add(part.at))):
			t.line("—", part.text)
		}
	}
	<-ctx.Done()
	return nil
}

// event shows one journal entry; an alert with what to do.
func (t *tale) event(subject string, e *alarm.Event) {
	m := t.words.render(subject, e)
	t.line(strings.ToUpper(e.Kind.String()), m.Headline)
	if len(m.Actions) == 0 {
		return
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	for _, text := range []struct{ label, text string }{{"why", m.Cause}, {"if not", m.Consequence}} {
		if text.text != "" {
			fmt.Fprintf(t.out, "        %s: %s\n", text.label, text.text)
		}
	}
	number := 0
	for _, a := range m.Actions {
		if a.Hands == alarm.Before {
			fmt.Fprintf(t.out, "        BEFORE TOUCHING ANYTHING: %s\n", a.Text)
			continue
		}
		number++
		fmt.Fprintf(t.out, "        %d. %s\n", number, a.Text)
	}
}

func (t *tale) line(kind, text string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	since := time.Since(t.began).Truncate(time.Second)
	fmt.Fprintf(t.out, "%02d:%02d  %-14s %s\n", int(since.Minutes()), int(since.Seconds())%60, kind, text)
}
