package main

import (
	"encoding/json"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/google/go-cmp/cmp"

	"pumpside/rules/alarm"
	"pumpside/simulator"
)

// A mosquitto is a real broker that keeps its memory in a folder, so that it
// can be stopped and started.
type mosquitto struct {
	path, config, address string
	process               *program
}

func newMosquitto(t *testing.T) *mosquitto {
	t.Helper()
	folder := t.TempDir()
	m := &mosquitto{path: need(t, "mosquitto"), config: filepath.Join(folder, "mosquitto.conf"), address: freeAddress(t)}
	_, port, _ := net.SplitHostPort(m.address)
	user := "" // mosquitto started by root changes to a user who may not write here
	if os.Geteuid() == 0 {
		user = "user root\n"
	}
	writeFile(t, m.config, user+"listener "+port+" 127.0.0.1\nallow_anonymous true\npersistence true\npersistence_location "+folder+"/\nmax_queued_messages 0\n")
	return m
}

func (m *mosquitto) start(t *testing.T) {
	t.Helper()
	m.process = start(t, m.path, "-c", m.config)
	eventually(t, "mosquitto listens", func() bool { return listening(m.address) })
}

// stop ends the broker, which writes its memory down.
func (m *mosquitto) stop(t *testing.T) {
	t.Helper()
	if code := m.process.stop(t, stopSignal); code != 0 {
		t.Errorf("mosquitto stopped with exit code %d", code)
	}
}

// A letterbox keeps what arrives from a broker.
type letterbox struct {
	mu      sync.Mutex // guards letters
	letters []letter
}

type letter struct{ topic, payload string }

// on lists the payloads of a topic, as they came.
func (b *letterbox) on(topic string) (payloads []string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, l := range b.letters {
		if l.topic == topic {
			payloads = append(payloads, l.payload)
		}
	}
	return payloads
}

// newest gives the last payload of each topic.
func (b *letterbox) newest() map[string]string {
	b.mu.Lock()
	defer b.mu.Unlock()
	all := map[string]string{}
	for _, l := range b.letters {
		all[l.topic] = l.payload
	}
	return all
}

// subscribe connects to a broker and keeps what comes to the topics. With a
// name the broker keeps the session while either side is away.
func subscribe(t *testing.T, address, name string, topics ...string) *letterbox {
	t.Helper()
	b := new(letterbox)
	o := paho.NewClientOptions().AddBroker("tcp://" + address).SetClientID(name).SetCleanSession(name == "").
		SetConnectRetry(true).SetConnectRetryInterval(50 * time.Millisecond).SetMaxReconnectInterval(100 * time.Millisecond)
	o.SetOnConnectHandler(func(c paho.Client) {
		for _, topic := range topics {
			c.Subscribe(topic, 1, nil)
		}
	})
	o.SetDefaultPublishHandler(func(_ paho.Client, m paho.Message) {
		b.mu.Lock()
		defer b.mu.Unlock()
		b.letters = append(b.letters, letter{m.Topic(), string(m.Payload())})
	})
	client := paho.NewClient(o)
	if !client.Connect().WaitTimeout(patience) {
		t.Fatal("the broker lets nobody in")
	}
	t.Cleanup(func() { client.Disconnect(100) })
	return b
}

// topic names a topic of a pump, "" for the site, as a consumer would write it.
func topic(pump, rest string) string {
	return strings.ReplaceAll("pumpside/v1/test-site/"+pump+"/"+rest, "//", "/")
}

// A payload is what these tests read of what the agent publishes.
type payload struct {
	StreamID string `json:"stream_id"`
	Seq      uint64 `json:"seq"`
	Event    string `json:"event"`
	Alarm    string `json:"alarm"`
	Headline string `json:"headline"`
	State    string `json:"state"`
	Shelved  bool   `json:"shelved"`
	Reason   string `json:"reason"`
}

// A told is one journal entry as people know it.
type told struct {
	Seq                    uint64
	Event, Alarm, Headline string
}

// journalOf asks the agent, or its state file, for the whole journal: by pump,
// oldest first.
func journalOf(t *testing.T, config string) map[string][]told {
	t.Helper()
	var lines []journalLine
	decode(t, ask(t, "alarms", "journal", "--json", "--limit", "5000", "--config", config), &lines)
	journal := map[string][]told{}
	for i := len(lines) - 1; i >= 0; i-- {
		l := lines[i]
		journal[l.Pump] = append(journal[l.Pump], told{l.Event.Seq, l.Event.Kind.String(), l.Event.Alarm, l.Headline})
	}
	return journal
}

func decode(t *testing.T, text string, into any) {
	t.Helper()
	if err := json.Unmarshal([]byte(text), into); err != nil {
		t.Fatalf("%v in %s", err, text)
	}
}

// received gives the events that arrived, by pump, without repeats; and the
// number of repeats.
func received(t *testing.T, b *letterbox, pumps ...string) (events map[string][]told, repeats int) {
	t.Helper()
	events = map[string][]told{}
	for _, pump := range pumps {
		seen := map[string]bool{}
		for _, text := range b.on(topic(pump, "event")) {
			var e payload
			decode(t, text, &e)
			key := fmt.Sprint(e.StreamID, e.Seq)
			if seen[key] {
				repeats++
				continue
			}
			seen[key] = true
			events[pump] = append(events[pump], told{e.Seq, e.Event, e.Alarm, e.Headline})
		}
	}
	return events, repeats
}

// A status is what the agent's status topic says.
type status struct{ state, reason string }

func statuses(t *testing.T, b *letterbox) (list []status) {
	t.Helper()
	for _, text := range b.on(topic("", "status")) {
		var p payload
		decode(t, text, &p)
		s := status{p.State, p.Reason}
		if len(list) == 0 || list[len(list)-1] != s { // a repeat of a retained one says nothing new
			list = append(list, s)
		}
	}
	return list
}

func TestMosquittoGetsEveryEventThoughTheBrokerStopsAndTheAgentIsKilled(t *testing.T) {
	if testing.Short() {
		t.Skip("waits for reconnections")
	}
	t.Parallel()
	broker := newMosquitto(t)
	p := newPlant(t, running(1), running(2))
	config := p.configure(t, skidSite{Broker: "tcp://" + broker.address})
	order := func(args ...string) { ask(t, append(args, "--config", config)...) }
	journalled := func(pump, name string) {
		eventually(t, pump+"/"+name+" is in the journal", func() bool {
			return strings.Contains(ask(t, "alarms", "journal", "--pump", pump, "--alarm", name, "--config", config), "drive FAULT")
		})
	}

	broker.start(t)
	room := subscribe(t, broker.address, "control-room", "pumpside/v1/#")
	said := func(want status) {
		eventually(t, fmt.Sprintf("the status %+v", want), func() bool {
			all := statuses(t, room)
			return len(all) > 0 && all[len(all)-1] == want
		})
	}
	online := status{state: "online"}

	// All is well, until the agent dies: its will says so.
	agent, _ := startAgent(t, config)
	said(online)
	order("service", "record", "gp-1", "valves")
	p.happen(t, 0, simulator.Event{Do: simulator.DriveTrip, Size: 7})
	eventually(t, "the fault arrives", func() bool { return len(room.on(topic("gp-1", "alarm/drive_fault"))) > 0 })
	agent.kill()
	said(status{"offline", "connection_lost"})

	// The broker stops while things happen, and the agent dies before it is back.
	agent, _ = startAgent(t, config)
	said(online)
	broker.stop(t)
	p.happen(t, 1, simulator.Event{Do: simulator.DriveTrip, Size: 4})
	for range 10 {
		order("alarms", "shelve", "gp-1/drive_fault", "--comment", "known")
		order("alarms", "unshelve", "gp-1/drive_fault")
	}
	journalled("gp-2", "drive_fault")
	agent.kill()
	order("service", "record", "gp-2", "valves") // nobody runs: written straight into the state file
	order("alarms", "ack", "gp-2/drive_fault")

	// Both are back; the agent dies once more amid the delivery.
	broker.start(t)
	before := len(room.on(topic("gp-1", "event")))
	agent, _ = startAgent(t, config)
	eventually(t, "delivery begins", func() bool { return len(room.on(topic("gp-1", "event"))) > before })
	agent.kill()
	agent, _ = startAgent(t, config)
	order("alarms", "ack", "gp-1/drive_fault")
	said(online)

	var events map[string][]told
	repeats := 0
	eventually(t, "the newest event of each pump arrives", func() bool {
		events, repeats = received(t, room, "", "gp-1", "gp-2")
		return cmp.Equal(lastSeqs(journalOf(t, config)), lastSeqs(events))
	})
	if diff := cmp.Diff(journalOf(t, config), events); diff != "" {
		t.Errorf("the journal and what arrived, -journal +arrived:\n%s", diff)
	}
	eventually(t, "the retained states agree with the agent", func() bool {
		late := subscribe(t, broker.address, "", "pumpside/v1/#")
		return agrees(t, late, config)
	})
	if code := agent.stop(t, stopSignal); code != 0 {
		t.Errorf("the agent stopped with exit code %d", code)
	}
	said(status{"offline", "stopped"})
	t.Logf("%d events of gp-1, %d of gp-2, %d of the site: none missing, none out of order, %d repeats", len(events["gp-1"]), len(events["gp-2"]), len(events[""]), repeats)
}

func lastSeqs(events map[string][]told) map[string]uint64 {
	seqs := map[string]uint64{}
	for pump, list := range events {
		seqs[pump] = list[len(list)-1].Seq
	}
	return seqs
}

// agrees waits a little for the retained alarm states and compares them with
// those the agent gives at its desk.
func agrees(t *testing.T, b *letterbox, config string) bool {
	t.Helper()
	var list alarmList
	decode(t, ask(t, "alarms", "list", "--all", "--json", "--config", config), &list)
	want := map[string]alarm.View{}
	for pump, views := range list.Pumps {
		for _, v := range views {
			want[topic(pump, "alarm/"+v.Name)] = v
		}
	}
	for end := time.Now().Add(2 * time.Second); len(b.newest()) < len(want) && time.Now().Before(end); {
		time.Sleep(20 * time.Millisecond)
	}
	standing := 0
	for at, text := range b.newest() {
		if !strings.Contains(at, "/alarm/") {
			continue
		}
		var got payload
		decode(t, text, &got)
		v, known := want[at]
		if !known || got.State != v.State.String() || got.Shelved != v.Shelved || v.Last != nil && got.Seq != v.Last.Seq {
			return false
		}
		delete(want, at)
		if v.State != alarm.Normal {
			standing++
		}
	}
	for _, v := range want {
		if v.Last != nil || stands(v) {
			return false // no retained state for an alarm that has something to tell
		}
	}
	return standing >= 2
}
