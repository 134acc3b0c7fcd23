// Command consumer follows the events of all pumps: it drops repeats and notices gaps.
package main

import (
	"encoding/json"
	"fmt"
	"log"
	"os"

	paho "github.com/eclipse/paho.mqtt.golang"
)

// An event is what this example needs of pumpside/v1/{site}/{pump}/event.
type event struct {
	StreamID             string `json:"stream_id"`
	Site, Pump, Headline string // Pump is null, and so "", for the site itself
	Seq                  uint64
}

// A follower has the last seq by stream (a restored state file begins one), site and pump: take drops repeats and tells gaps.
type follower map[[3]string]uint64

func (f follower) take(e event) (text string) {
	key := [3]string{e.StreamID, e.Site, e.Pump}
	switch last, known := f[key]; {
	case known && e.Seq <= last:
		return ""
	case known && e.Seq > last+1:
		text = fmt.Sprintf("%d event(s) of %s %s before seq %d never came (1000 or more: an unclean stop, and nobody knows)\n", e.Seq-last-1, e.Site, e.Pump, e.Seq)
	}
	f[key] = e.Seq
	return text + e.Headline + "\n"
}

func main() {
	seen, all := follower{}, map[string]byte{"pumpside/v1/+/event": 1, "pumpside/v1/+/+/event": 1}
	show := func(_ paho.Client, m paho.Message) {
		var e event
		if err := json.Unmarshal(m.Payload(), &e); err != nil {
			log.Fatal(m.Topic(), ": ", err)
		}
		fmt.Print(seen.take(e))
	}
	options := paho.NewClientOptions().AddBroker(os.Args[1]).SetClientID("control-room").SetCleanSession(false) // the broker keeps what comes meanwhile
	options.SetOnConnectHandler(func(c paho.Client) { c.SubscribeMultiple(all, show) })
	if t := paho.NewClient(options).Connect(); t.Wait() && t.Error() != nil {
		log.Fatal(t.Error())
	}
	select {}
}
