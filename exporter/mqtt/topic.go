package mqtt

import (
	"fmt"
	"net/url"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"
)

// root stands before every topic. The 1 is the version of topics and payloads.
const root = "pumpside/v1/"

// Topics names the topics of one site. Where a pump is asked for, "" means
// the site itself.
type Topics struct{ base string } // "pumpside/v1/{site}/"

// TopicsOf gives the topics of the site with that name.
func TopicsOf(site string) Topics { return Topics{root + Segment(site) + "/"} }

// Status tells whether the agent is connected (retained; the will).
func (t Topics) Status() string { return t.base + "status" }

// Alarm is the state of one alarm (retained).
func (t Topics) Alarm(pump, alarm string) string { return t.of(pump) + "alarm/" + Segment(alarm) }

// Report is what the control room asks every day (retained).
func (t Topics) Report() string { return t.base + "report" }

// Event carries what happened, in order.
func (t Topics) Event(pump string) string { return t.of(pump) + "event" }

// Service is a pump's life used and its next visit (retained).
func (t Topics) Service(pump string) string { return t.of(pump) + "service" }

// Telemetry is a pump's snapshot on a beat.
func (t Topics) Telemetry(pump string) string { return t.of(pump) + "telemetry" }

// Command is where a pump takes commands.
func (t Topics) Command(pump string) string { return t.of(pump) + "command" }

// Result answers a pump's commands.
func (t Topics) Result(pump string) string { return t.of(pump) + "command/result" }

func (t Topics) of(pump string) string {
	if pump == "" {
		return t.base
	}
	return t.base + pumpSegment(pump) + "/"
}

// commands is the filter that matches the command topic of every pump.
func (t Topics) commands() string { return t.base + "+/command" }

// standing are the filters that match every retained topic but the status.
func (t Topics) standing() []string {
	return []string{t.base + "alarm/+", t.base + "+/alarm/+", t.base + "+/service", t.base + "report"}
}

// commanded gives the pump a command topic belongs to.
func (t Topics) commanded(topic string) (pump string, ok bool) {
	segment, ok := strings.CutPrefix(topic, t.base)
	if !ok {
		return "", false
	}
	if segment, ok = strings.CutSuffix(segment, "/command"); !ok {
		return "", false
	}
	pump, err := url.PathUnescape(segment)
	return pump, err == nil && pump != "" && pumpSegment(pump) == segment
}

// Segment writes a name as one level of a topic: what has a meaning in topics
// (/ + # %), control characters, noncharacters and broken UTF-8 become %XX per
// byte, as in a URL. Different names give different segments.
func Segment(name string) string {
	if !strings.ContainsFunc(name, special) {
		return name
	}
	var b strings.Builder
	for i := 0; i < len(name); {
		r, size := utf8.DecodeRuneInString(name[i:])
		if special(r) {
			for _, c := range []byte(name[i : i+size]) {
				fmt.Fprintf(&b, "%%%02X", c)
			}
		} else {
			b.WriteString(name[i : i+size])
		}
		i += size
	}
	return b.String()
}

// special is true for RuneError too, and so for broken UTF-8. The control
// characters and noncharacters are those a broker may refuse (MQTT 3.1.1
// §1.5.3).
func special(r rune) bool {
	return strings.ContainsRune("/+#%", r) || unicode.IsControl(r) || r == utf8.RuneError ||
		r&0xFFFE == 0xFFFE || (r >= 0xFDD0 && r <= 0xFDEF)
}

// siteLevels are the levels that follow a site and are no pump.
var siteLevels = []string{"status", "alarm", "event", "service", "telemetry", "command", "report"}

// pumpSegment is Segment, but a pump that is named like one of the site's own
// levels has its first letter escaped too: {site}/alarm/event must not be
// both the events of a pump and an alarm of the site.
func pumpSegment(pump string) string {
	if slices.Contains(siteLevels, pump) {
		return fmt.Sprintf("%%%02X", pump[0]) + pump[1:]
	}
	return Segment(pump)
}
