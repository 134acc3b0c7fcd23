package mqtt

import (
	"bytes"
	"encoding/json"
	"math"
	"time"

	"pumpside/drivers"
	"pumpside/rules/alarm"
)

// Payloads hold strings, slices and pointers only; nil is null, "not known".

// encode writes a payload. The payloads of this package cannot fail to encode:
// every number that is not finite was made nil before.
func encode(payload any) []byte {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	if err := e.Encode(payload); err != nil {
		panic("mqtt: payload: " + err.Error())
	}
	return bytes.TrimSuffix(b.Bytes(), []byte("\n"))
}

// number is nil for what JSON cannot write.
func number(x float64) *float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return nil
	}
	return &x
}

// seconds is nil for 0.
func seconds(d time.Duration) *float64 {
	if d == 0 {
		return nil
	}
	return number(d.Seconds())
}

// text is nil for "".
func text(s string) *string {
	if s == "" {
		return nil
	}
	return &s
}

// stamp writes a time in RFC 3339, UTC, to the millisecond; nil for none.
func stamp(t time.Time) *string {
	if t.IsZero() {
		return nil
	}
	return text(t.UTC().Format("2006-01-02T15:04:05.000Z"))
}

// moment is the wall time of an instant; nil for none.
func moment(i drivers.Instant) *string { return stamp(i.Wall) }

// answer is true, false, or nil for unknown.
func answer(k alarm.Known) *bool {
	if k == alarm.Unknown {
		return nil
	}
	yes := k == alarm.Yes
	return &yes
}

// list is s, or an empty list, never null.
func list[T any](s []T) []T {
	if s == nil {
		return []T{}
	}
	return s
}

// A magnitude is a number with the symbol of its unit; both nil for none.
func magnitude(q *alarm.Quantity) (value *float64, unit *string) {
	if q == nil {
		return nil, nil
	}
	return number(q.Value), text(q.Dimension.Base())
}

// Origin is where and when a message comes from; every payload begins with it.
type Origin struct {
	Schema            string  `json:"schema"` // the $id of a schema in [Schemas]
	StreamID          string  `json:"stream_id"`
	Site              string  `json:"site"`
	Pump              *string `json:"pump"` // null for the site itself
	BootID            *string `json:"boot_id"`
	SinceBootMs       *int64  `json:"since_boot_ms"`
	ClockSynchronized *bool   `json:"clock_synchronized"`
	AgentVersion      string  `json:"agent_version"`
	ConfigHash        string  `json:"config_hash"`
}

// origin describes a message of that schema about a pump, "" for the site, at
// an instant, the zero one for none.
func (p *Publisher) origin(schema, pump string, at drivers.Instant) Origin {
	o := Origin{
		Schema: root + schema, StreamID: p.Site.StreamID, Site: p.Site.Name, Pump: text(pump),
		AgentVersion: p.Site.AgentVersion, ConfigHash: p.Site.ConfigHash,
	}
	if !at.IsZero() {
		since := at.SinceBoot.Milliseconds()
		o.BootID, o.SinceBootMs, o.ClockSynchronized = text(at.Boot), &since, &at.Synchronized
	}
	return o
}
