package mqtt

import (
	"fmt"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/google/go-cmp/cmp"

	"pumpside/drivers"
)

// command writes a command that is good until noon plus one hour.
func command(request string) string {
	return `{"command_id":"c-1","user":"r.night","expires_at":"2026-03-01T13:00:00Z",` + request + `}`
}

func TestDecodeCommand(t *testing.T) {
	tests := []struct {
		name, payload string
		want          drivers.Command
		err           string
	}{
		{"acknowledge", command(`"ack":{"alarm":"glycol_flow_low","comment":"on my way"}`), drivers.Command{Verb: drivers.Acknowledge, Alarm: "glycol_flow_low", Comment: "on my way"}, ""},
		{"shelve for an hour", command(`"shelve":{"alarm":"glycol_flow_low","duration_s":3600,"comment":"meter at the shop"}`), drivers.Command{Verb: drivers.Shelve, Alarm: "glycol_flow_low", For: time.Hour, Comment: "meter at the shop"}, ""},
		{"shelve without a time is 8 h", command(`"shelve":{"alarm":"glycol_flow_low","comment":"meter at the shop"}`), drivers.Command{Verb: drivers.Shelve, Alarm: "glycol_flow_low", For: 8 * time.Hour, Comment: "meter at the shop"}, ""},
		{"unshelve", command(`"unshelve":{"alarm":"glycol_flow_low"}`), drivers.Command{Verb: drivers.Unshelve, Alarm: "glycol_flow_low"}, ""},
		{
			"record a service with what was found", command(`"service_record":{"task":"valves","action":"replaced","found":"leaking","cylinder":2,"side":"suction","done_at":"2026-03-01T09:00:00Z","oil_added_l":0.5}`),
			drivers.Command{Verb: drivers.RecordService, Task: "valves", Service: &drivers.ServiceEntry{
				Task: "valves", Action: "replaced", Found: "leaking", Cylinder: 2, Side: "suction", At: time.Date(2026, 3, 1, 9, 0, 0, 0, time.UTC), Added: 0.5,
			}},
			"",
		},
		{"record a service", command(`"service_record":{"task":"oil"}`), drivers.Command{Verb: drivers.RecordService, Task: "oil"}, ""},

		{"shelve without a reason", command(`"shelve":{"alarm":"a"}`), drivers.Command{}, "comment: missing; say why the alarm is shelved, the next shift reads it"},
		{"shelve with a blank for a reason", command(`"shelve":{"alarm":"a","comment":" \n"}`), drivers.Command{}, "comment: missing; say why the alarm is shelved, the next shift reads it"},
		{"shelve for more than a day", command(`"shelve":{"alarm":"a","duration_s":86401,"comment":"x"}`), drivers.Command{}, "duration_s: shelve for 60 to 86400 s"},
		{"shelve for longer than a Duration holds", command(`"shelve":{"alarm":"a","duration_s":9223372036854775807,"comment":"x"}`), drivers.Command{}, "duration_s: shelve for 60 to 86400 s"},
		{"shelve for less than nothing", command(`"shelve":{"alarm":"a","duration_s":-9223372036854775808,"comment":"x"}`), drivers.Command{}, "duration_s: shelve for 60 to 86400 s"},
		{"shelve for a fraction", command(`"shelve":{"alarm":"a","duration_s":90.5}`), drivers.Command{}, "not a command: shelve.duration_s: number 90.5 does not belong here"},
		{"nothing asked for", `{"command_id":"c-1","user":"r.night","expires_at":"2026-03-01T13:00:00Z"}`, drivers.Command{}, "asks for 0 things; ask for one of ack, shelve, unshelve, service_record"},
		{"two things at once", command(`"ack":{"alarm":"a"},"unshelve":{"alarm":"a"}`), drivers.Command{}, "asks for 2 things; ask for one of ack, shelve, unshelve, service_record"},
		{"no alarm", command(`"ack":{}`), drivers.Command{}, "alarm: missing"},
		{"no task", command(`"service_record":{"task":" "}`), drivers.Command{}, "task: missing"},
		{"a start command does not exist", command(`"start":{}`), drivers.Command{}, `not a command: unknown field "start"`},
		{"no JSON", "ack glycol_flow_low", drivers.Command{}, "not a command: invalid character 'a' looking for beginning of value"},
		{"a list", "[]", drivers.Command{}, "not a command: array where an object belongs"},
		{"two commands in one", command(`"ack":{"alarm":"a"}`) + "{}", drivers.Command{}, "not a command: something follows it"},
		{"no id", `{"user":"r.night","expires_at":"2026-03-01T13:00:00Z","ack":{"alarm":"a"}}`, drivers.Command{}, "command_id: missing"},
		{"no user", `{"command_id":"c","expires_at":"2026-03-01T13:00:00Z","ack":{"alarm":"a"}}`, drivers.Command{}, "user: missing"},
		{"a user that would break a journal line", `{"command_id":"c","user":"a\nb","expires_at":"2026-03-01T13:00:00Z","ack":{"alarm":"a"}}`, drivers.Command{}, "user: has a character that cannot be printed"},
		{"a name too long", command(`"ack":{"alarm":"` + strings.Repeat("ä", 65) + `"}`), drivers.Command{}, "alarm: 65 characters; at most 64"},
		{"a comment too long", command(`"ack":{"alarm":"a","comment":"` + strings.Repeat("x", 1001) + `"}`), drivers.Command{}, "comment: 1001 characters; at most 1000"},
		{"a payload too long", strings.Repeat(" ", 4097), drivers.Command{}, "4097 bytes; a command has at most 4096"},
		{"broken UTF-8", "{\"command_id\":\"\xff\"}", drivers.Command{}, "not UTF-8"},
		{"no expiry", `{"command_id":"c","user":"u","ack":{"alarm":"a"}}`, drivers.Command{}, "expires_at: missing; say until when the command may act"},
		{"expired this very moment", `{"command_id":"c","user":"u","expires_at":"2026-03-01T12:00:00Z","ack":{"alarm":"a"}}`, drivers.Command{}, "expired at 2026-03-01T12:00:00.000Z"},
		{"expired, told in another zone", `{"command_id":"c","user":"u","expires_at":"2026-03-01T13:59:59+02:00","ack":{"alarm":"a"}}`, drivers.Command{}, "expired at 2026-03-01T11:59:59.000Z"},
		{"an expiry that is none", `{"command_id":"c","user":"u","expires_at":"2036-03-01T12:00:00Z","ack":{"alarm":"a"}}`, drivers.Command{}, "expires_at: more than 24h0m0s ahead"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			_, got, err := DecodeCommand([]byte(tt.payload), instant(0))
			text := ""
			if err != nil {
				text = err.Error()
			} else {
				tt.want.ID, tt.want.User = "c-1", "r.night"
			}
			if text != tt.err {
				t.Fatalf("error\n got %s\nwant %s", text, tt.err)
			}
			if d := cmp.Diff(tt.want, got); err == nil && d != "" {
				t.Errorf("command (-want +got):\n%s", d)
			}
		})
	}
}

func TestAnAgentWithoutAClockObeysNoCommand(t *testing.T) {
	now := drivers.Instant{Wall: time.Unix(90, 0), Boot: "boot-1", SinceBoot: time.Minute}
	_, _, err := DecodeCommand([]byte(command(`"ack":{"alarm":"a"}`)), now)
	const want = "the agent's clock is not synchronised: it cannot tell whether the command has expired"
	if err == nil || err.Error() != want {
		t.Errorf("error = %v, want %s", err, want)
	}
}

func FuzzDecodeCommand(f *testing.F) {
	for _, request := range []string{`"ack":{"alarm":"a"}`, `"shelve":{"alarm":"a","duration_s":60,"comment":"x"}`, `"unshelve":{"alarm":"a"}`, `"service_record":{"task":"oil","comment":"x"}`} {
		f.Add([]byte(command(request)))
	}
	f.Add([]byte(`{"ack":null}`))
	now := instant(0)
	f.Fuzz(func(t *testing.T, data []byte) {
		p, c, err := DecodeCommand(data, now)
		if err != nil {
			return
		}
		if bad := outOfBounds(p, c, now); bad != "" {
			t.Errorf("%q: %s let through: %+v", data, bad, c)
		}
	})
}

// outOfBounds says which bound a decoded command breaks.
func outOfBounds(p CommandPayload, c drivers.Command, now drivers.Instant) string {
	subject := map[drivers.Verb]string{drivers.Acknowledge: c.Alarm, drivers.Shelve: c.Alarm, drivers.Unshelve: c.Alarm, drivers.RecordService: c.Task}[c.Verb]
	for what, name := range map[string]string{"id": c.ID, "user": c.User, fmt.Sprintf("subject of %s", c.Verb): subject} {
		if n := utf8.RuneCountInString(name); n < 1 || n > 64 || strings.ContainsAny(name, "\n\r\x00") {
			return what
		}
	}
	switch {
	case !p.ExpiresAt.After(now.Wall) || p.ExpiresAt.After(now.Wall.Add(24*time.Hour)):
		return "expiry"
	case utf8.RuneCountInString(c.Comment) > 1000:
		return "comment"
	case (c.Verb == drivers.Shelve) != (c.For != 0) || c.For < 0 || c.For > 24*time.Hour:
		return "duration"
	}
	return ""
}
