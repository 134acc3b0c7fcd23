// Command consumer follows the events of all pumps, drops what comes twice and
// says what is missing. It is an example to begin a console with:
//
//	go run ./configs/control-room/consumer tcp://127.0.0.1:1883
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
	StreamID string `json:"stream_id"`
	Site     string `json:"site"`
	Pump     string `json:"pump"` // null, and so "", for the site itself
	Seq      uint64 `json:"seq"`
	Headline string `json:"headline"`
}

// A follower remembers the last seq of every pump and stream. A stream begins
// anew when a state file is restored, and with it its numbers.
type follower map[string]uint64

// take reports whether e is new, and how many events before it never came.
func (f follower) take(e event) (isNew bool, missing uint64) {
	key := e.StreamID + " " + e.Site + " " + e.Pump
	last, known := f[key]
	if !known {
		last = e.Seq - 1
	} else if e.Seq <= last {
		return false, 0
	}
	f[key] = e.Seq
	return true, e.Seq - last - 1
}

func main() {
	seen, events := follower{}, make(chan event, 64)
	options := paho.NewClientOptions().AddBroker(os.Args[1]).SetClientID("control-room").SetCleanSession(false) // the broker keeps what comes meanwhile
	options.SetOnConnectHandler(func(c paho.Client) {
		both := map[string]byte{"pumpside/v1/+/event": 1, "pumpside/v1/+/+/event": 1} // of sites, of pumps
		c.SubscribeMultiple(both, func(_ paho.Client, m paho.Message) {
			var e event
			if json.Unmarshal(m.Payload(), &e) == nil {
				events <- e
			}
		})
	})
	if t := paho.NewClient(options).Connect(); t.Wait() && t.Error() != nil {
		log.Fatal(t.Error())
	}
	for e := range events {
		isNew, missing := seen.take(e)
		if missing > 0 {
			fmt.Printf("%d event(s) before seq %d of %s never came\n", missing, e.Seq, e.Site)
		}
		if isNew {
			fmt.Println(e.Headline)
		}
	}
}
