package mqtt

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"testing"
	"testing/synctest"
	"time"

	"github.com/google/go-cmp/cmp"

	"pumpside/drivers"
)

// ack asks to acknowledge, until an hour from now.
func ack(id, user string, expires time.Time) string {
	return fmt.Sprintf(`{"command_id":%q,"user":%q,"expires_at":%q,"ack":{"alarm":"glycol_flow_low"}}`, id, user, expires.UTC().Format(time.RFC3339))
}

func TestCommandsAreAnsweredOverTheBroker(t *testing.T) {
	var m mail
	b := startEmbedded(t, "", &m)
	defer b.stop(t)
	hands := new(obedient)
	p := publisher(newBox())
	p.Settings.Broker, p.Settings.Commands, p.Commands = "tcp://"+b.address, true, hands
	topics := TopicsOf("north")
	later := time.Now().Add(time.Hour)
	// This one was retained before the agent came.
	if err := b.Publish(topics.Command("gp-2"), []byte(ack("c-0", "r.night", later)), true, 1); err != nil {
		t.Fatal(err)
	}
	stop := run(t, p)
	defer stop()
	eventually(t, "the retained one is answered", func() bool { return len(m.on(topics.Result("gp-2"))) == 1 })

	for _, c := range []struct{ pump, payload string }{
		{"gp-1", ack("c-1", "r.night", later)},
		{"gp-1", ack("c-1", "r.night", later)},
		{"gp-1", ack("c-2", "nobody", later)},
		{"gp-1", ack("c-3", "r.night", later.Add(-2*time.Hour))},
		{"gp-1", "ack everything"},
		{"gp-7", ack("c-4", "r.night", later)},
	} {
		if err := b.Publish(topics.Command(c.pump), []byte(c.payload), false, 1); err != nil {
			t.Fatal(err)
		}
	}
	eventually(t, "all are answered", func() bool { return len(m.on(topics.Result("gp-1"))) == 5 && len(m.on(topics.Result("gp-7"))) == 1 })

	var got []string
	for _, pump := range []string{"gp-1", "gp-2", "gp-7"} {
		for _, payload := range m.on(topics.Result(pump)) {
			got = append(got, pump+" "+verdict(t, payload))
		}
	}
	want := []string{
		"gp-1 c-1: accepted",
		"gp-1 c-1: a command with this command_id was given before",
		"gp-1 c-2: no such pump",
		"gp-1 c-3: expired",
		"gp-1 : not a command: invalid character 'a' looking for beginning of value",
		"gp-2 c-0: a command must not be retained: it would be given again at every connection",
		"gp-7 c-4: no such pump",
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("answers (-want +got):\n%s", d)
	}
	if d := cmp.Diff([]string{"gp-1 acknowledge glycol_flow_low"}, hands.did); d != "" {
		t.Errorf("done (-want +got):\n%s", d)
	}
}

// verdict is a result in a line, without the moment of expiry.
func verdict(t *testing.T, payload string) string {
	t.Helper()
	var r ResultPayload
	if err := json.Unmarshal([]byte(payload), &r); err != nil {
		t.Fatal(err)
	}
	for _, problem := range fitsItsSchema(t, []byte(payload)) {
		t.Error(problem)
	}
	id, reason := "", "accepted"
	if r.CommandID != nil {
		id = *r.CommandID
	}
	if r.Reason != nil {
		reason = *r.Reason
	}
	if len(reason) > 11 && reason[:11] == "expired at " {
		reason = "expired"
	}
	if r.Accepted != (r.Reason == nil) {
		t.Errorf("accepted %v with reason %v", r.Accepted, r.Reason)
	}
	return id + ": " + reason
}

// stuck is a commander whose rules do not answer.
type stuck struct{}

func (stuck) First(context.Context, string, string, time.Time) (bool, error) { return true, nil }

func (stuck) Do(ctx context.Context, _ string, _ drivers.Command) error {
	<-ctx.Done()
	return errors.New("the agent is stopping")
}

func TestAFloodOfCommandsIsDroppedAndDoesNotStopTheEvents(t *testing.T) {
	var m mail
	b := startEmbedded(t, "", &m)
	defer b.stop(t)
	outbox := newBox()
	p := publisher(outbox)
	p.Settings.Broker, p.Settings.Commands, p.Commands = "tcp://"+b.address, true, stuck{}
	stop := run(t, p)
	defer stop()
	eventually(t, "connected", func() bool { return p.Facts().Connected })
	const sent = 50
	for i := range sent {
		if err := b.Publish(TopicsOf("north").Command("gp-1"), []byte(ack(fmt.Sprint(i), "r.night", time.Now().Add(time.Hour))), false, 1); err != nil {
			t.Fatal(err)
		}
	}
	// One is being answered, a channel full waits, the rest is counted.
	eventually(t, "the rest is dropped", func() bool { return p.Facts().CommandsDropped == sent-1-waitingCommands })
	outbox.put(entries(1, 30)...)
	eventually(t, "the events come all the same", func() bool { return m.complete(t, 30) })
}

func TestAnAnswerWaitsForTheNextConnection(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		broker := &scripted{}
		p := publisher(newBox())
		p.Dial, p.unsent = broker.dial, []message{{TopicsOf("north").Result("gp-1"), []byte("{}"), false}}
		stop := run(t, p)
		time.Sleep(time.Second)
		stop()
		broker.clients.Wait()
		if got := broker.on(TopicsOf("north").Result("gp-1")); len(got) != 1 || len(p.unsent) != 0 {
			t.Errorf("sent %d answers, %d left; want one and none", len(got), len(p.unsent))
		}
	})
}
