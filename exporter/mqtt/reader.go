package mqtt

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"net"
	"net/url"
	"slices"
	"strings"
	"sync"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"pumpside/rules/report"
)

// A SiteReport is what a broker keeps of one site: the newest report, and
// whether its agent is connected.
type SiteReport struct {
	Site    string
	Online  bool           // as the status topic says; the broker itself says offline for an agent that vanished
	Since   time.Time      // of that status; zero when the broker said it
	Report  *report.Report // nil when there is none that can be read
	Trouble string         // why not, in words
}

// ReadReports reads the retained status and report of every site at a broker.
// It subscribes to nothing else, publishes nothing and changes nothing. quiet
// is how long the broker must say nothing new to be done. Sites come in the
// order of their names.
//
// The status topics come first and tell which sites there are; then the reports
// are asked for a few sites at a time, so that no queue of the broker overflows
// (mosquitto keeps 1,000 messages for a client by default).
func ReadReports(ctx context.Context, s Settings, quiet time.Duration) ([]SiteReport, error) {
	r := &reader{settings: s, quiet: quiet, arrived: make(chan struct{}, 1), status: map[string][]byte{}, reports: map[string][]byte{}}
	if err := r.connect(ctx); err != nil {
		return nil, fmt.Errorf("broker %s: %w", s.Broker, err)
	}
	defer r.client.Disconnect(100)
	if err := r.ask(ctx, root+"+/status"); err != nil {
		return nil, err
	}
	sites := slices.Sorted(maps.Keys(r.take().status))
	for part := range slices.Chunk(sites, sitesAtOnce) {
		filters := make([]string, len(part))
		for i, segment := range part {
			filters[i] = root + segment + "/report"
		}
		if err := r.ask(ctx, filters...); err != nil {
			return nil, err
		}
	}
	return r.take().read(sites), nil
}

// sitesAtOnce is how many reports are asked for at once.
const sitesAtOnce = 50

// A reader collects retained messages.
type reader struct {
	settings Settings
	quiet    time.Duration
	client   paho.Client
	arrived  chan struct{} // capacity 1; something came

	mu      sync.Mutex // guards status and reports
	status  map[string][]byte
	reports map[string][]byte // by the site's segment
}

func (r *reader) connect(ctx context.Context) error {
	wire, err := (&Publisher{Settings: r.settings}).dial(ctx)
	if err != nil {
		return err
	}
	o := paho.NewClientOptions().AddBroker("tcp://broker").
		SetClientID(r.settings.ClientID).SetUsername(r.settings.User).SetPassword(r.settings.Password).
		SetProtocolVersion(4).SetCleanSession(true).SetAutoReconnect(false).SetConnectRetry(false).
		SetConnectTimeout(dialTimeout).SetKeepAlive(cmp.Or(r.settings.KeepAlive, shortestKeepAlive)).SetOrderMatters(true).
		SetDefaultPublishHandler(r.receive)
	o.SetCustomOpenConnectionFn(func(*url.URL, paho.ClientOptions) (net.Conn, error) { return wire, nil })
	r.client = paho.NewClient(o)
	return r.wait(ctx, r.client.Connect())
}

// receive files a retained message. The library calls it from its receive loop.
func (r *reader) receive(_ paho.Client, m paho.Message) {
	segment, kind, _ := strings.Cut(strings.TrimPrefix(m.Topic(), root), "/")
	r.mu.Lock()
	switch {
	case len(m.Payload()) == 0:
	case kind == "status":
		r.status[segment] = m.Payload()
	case kind == "report":
		r.reports[segment] = m.Payload()
	}
	r.mu.Unlock()
	select {
	case r.arrived <- struct{}{}:
	default:
	}
}

// ask subscribes and waits until nothing new comes.
func (r *reader) ask(ctx context.Context, filters ...string) error {
	wanted := map[string]byte{}
	for _, f := range filters {
		wanted[f] = atLeastOnce
	}
	token := r.client.SubscribeMultiple(wanted, nil)
	if err := r.wait(ctx, token); err != nil {
		return fmt.Errorf("subscribe to %s: %w", filters[0], err)
	}
	for filter, granted := range token.(*paho.SubscribeToken).Result() {
		if granted == 0x80 {
			return fmt.Errorf("the broker refuses the subscription to %s", filter)
		}
	}
	for {
		timer := time.NewTimer(r.quiet)
		select {
		case <-r.arrived:
			timer.Stop()
		case <-timer.C:
			return nil
		case <-ctx.Done():
			timer.Stop()
			return context.Cause(ctx)
		}
		if len(filters) > 1 && r.has(filters) {
			return nil
		}
	}
}

// has reports whether every report asked for has come.
func (r *reader) has(filters []string) bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	for _, f := range filters {
		segment, _, _ := strings.Cut(strings.TrimPrefix(f, root), "/")
		if r.reports[segment] == nil {
			return false
		}
	}
	return true
}

func (r *reader) wait(ctx context.Context, token paho.Token) error {
	timer := time.NewTimer(ackTimeout)
	defer timer.Stop()
	select {
	case <-token.Done():
		return token.Error()
	case <-timer.C:
		return errNoAnswer
	case <-ctx.Done():
		return context.Cause(ctx)
	}
}

// A collection is what has come so far.
type collection struct{ status, reports map[string][]byte }

func (r *reader) take() collection {
	r.mu.Lock()
	defer r.mu.Unlock()
	return collection{maps.Clone(r.status), maps.Clone(r.reports)}
}

// read puts together what came. A message that cannot be read is trouble with
// that site and no other.
func (c collection) read(segments []string) []SiteReport {
	list := make([]SiteReport, len(segments))
	for i, segment := range segments {
		site, err := url.PathUnescape(segment)
		if err != nil {
			site = segment
		}
		one := SiteReport{Site: site}
		var status struct {
			State string    `json:"state"`
			At    time.Time `json:"at"`
		}
		if err := json.Unmarshal(c.status[segment], &status); err != nil {
			one.Trouble = "its status cannot be read"
		}
		one.Online, one.Since = status.State == "online", status.At
		switch body := c.reports[segment]; {
		case body == nil:
			one.Trouble = "it has published no report"
		default:
			one.Report = new(report.Report)
			if err := json.Unmarshal(body, one.Report); err != nil {
				one.Report, one.Trouble = nil, "its report cannot be read: "+err.Error()
			}
		}
		list[i] = one
	}
	return list
}
