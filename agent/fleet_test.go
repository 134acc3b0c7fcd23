package main

import (
	"encoding/json"
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
)

// The retained topics of 200 sites at a real mosquitto are enough for the
// command: who needs a person, in what order, with which kit, and of whom there
// is no news.
func TestTheReportOfTwoHundredSites(t *testing.T) {
	t.Parallel()
	broker := newMosquitto(t)
	broker.start(t)
	client := paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + broker.address).SetClientID("sites"))
	if !client.Connect().WaitTimeout(patience) {
		t.Fatal("the broker lets nobody in")
	}
	example, err := os.ReadFile("../configs/control-room/examples/report.json")
	if err != nil {
		t.Fatal(err)
	}
	for i := range 200 {
		body := map[string]any{}
		if err := json.Unmarshal(example, &body); err != nil {
			t.Fatal(err)
		}
		at, state := time.Now().UTC(), "online"
		needs := []map[string]any{}
		need := func(urgency string, rank int, why, kit string) {
			needs = append(needs, map[string]any{"pump": "gp-1", "tag": "P-1A", "urgency": urgency, "rank": rank, "by": "mechanic", "since": at, "why": []string{why}, "kit": []string{kit}})
		}
		switch {
		case i == 150:
			need("now", 25, "circulation LOST", "belt")
		case i == 20:
			need("today", 9, "oil overdue", "12 L of oil")
		case i%10 == 9:
			state = "offline"
		}
		body["title"], body["at"], body["needs"] = fmt.Sprintf("Station %03d", i), at, needs
		text, err := json.Marshal(body)
		if err != nil {
			t.Fatal(err)
		}
		for name, payload := range map[string]string{"report": string(text), "status": `{"state": "` + state + `"}`} {
			if !client.Publish(fmt.Sprintf("pumpside/v1/site-%03d/%s", i, name), 1, true, payload).WaitTimeout(patience) {
				t.Fatal("the broker takes nothing")
			}
		}
	}
	client.Disconnect(100)
	text := ask(t, "report", "--broker", "tcp://"+broker.address)
	for _, want := range []string{
		"200 sites, 400 pumps, ",
		"\nNeeds a person NOW\n  1. Station 150 P-1A (mechanic)\n     circulation LOST\n     bring: belt\n\nNeeds a person TODAY\n  2. Station 020 P-1A (mechanic)\n     oil overdue\n     bring: 12 L of oil\n\n",
		"\nNo news, not necessarily a stop (20)\n  Station 009: the agent is not connected, last news ",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("the report lacks %q:\n%s", want, text)
		}
	}
}
