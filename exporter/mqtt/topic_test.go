package mqtt

import (
	"strings"
	"testing"
	"unicode/utf8"

	"pgregory.net/rapid"
)

func TestTopics(t *testing.T) {
	topics := TopicsOf("north pad")
	tests := []struct{ name, got, want string }{
		{"status of the site", topics.Status(), "pumpside/v1/north pad/status"},
		{"alarm of the site", topics.Alarm("", "clock_wrong"), "pumpside/v1/north pad/alarm/clock_wrong"},
		{"events of the site", topics.Event(""), "pumpside/v1/north pad/event"},
		{"alarm of a pump", topics.Alarm("gp-1", "glycol_flow_low"), "pumpside/v1/north pad/gp-1/alarm/glycol_flow_low"},
		{"events of a pump", topics.Event("gp-1"), "pumpside/v1/north pad/gp-1/event"},
		{"service", topics.Service("gp-1"), "pumpside/v1/north pad/gp-1/service"},
		{"telemetry", topics.Telemetry("gp-1"), "pumpside/v1/north pad/gp-1/telemetry"},
		{"command", topics.Command("gp-1"), "pumpside/v1/north pad/gp-1/command"},
		{"its result", topics.Result("gp-1"), "pumpside/v1/north pad/gp-1/command/result"},
		{"a tag with a slash stays one level", topics.Event("GP-2/A"), "pumpside/v1/north pad/GP-2%2FA/event"},
		{"wildcards and escapes are letters only", topics.Event("+#%"), "pumpside/v1/north pad/%2B%23%25/event"},
		{"letters of any language stay", topics.Event("насос-1"), "pumpside/v1/north pad/насос-1/event"},
		{"control characters and noncharacters go", Segment("a\x00\u0085\uFFFE\uFDD0"), "a%00%C2%85%EF%BF%BE%EF%B7%90"},
		{"broken UTF-8 goes byte by byte", Segment("a\xff\xc3"), "a%FF%C3"},
		{"a pump called alarm is not the site's alarms", topics.Event("alarm"), "pumpside/v1/north pad/%61larm/event"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if tt.got != tt.want {
				t.Errorf("topic %q, want %q", tt.got, tt.want)
			}
		})
	}
}

func TestACommandTopicGivesItsPumpBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		topics := TopicsOf(rapid.String().Draw(t, "site"))
		pump := rapid.OneOf(rapid.StringN(1, -1, -1), rapid.SampledFrom(siteLevels), rapid.Map(rapid.SliceOfN(rapid.Byte(), 1, 9), func(b []byte) string { return string(b) })).Draw(t, "pump")
		topic := topics.Command(pump)
		if got, ok := topics.commanded(topic); !ok || got != pump {
			t.Fatalf("pump %q has topic %q, which gives %q, %v", pump, topic, got, ok)
		}
		if strings.ContainsAny(topic, "+#\x00") || !utf8.ValidString(topic) || strings.Count(topic, "/") != 4 {
			t.Fatalf("topic %q cannot be published to", topic)
		}
	})
}

func TestWhatIsNoCommandTopicHasNoPump(t *testing.T) {
	topics := TopicsOf("north")
	for _, topic := range []string{
		"", "pumpside/v1/south/gp-1/command", "pumpside/v1/north/gp-1/event", "pumpside/v1/north/command", "pumpside/v1/north//command",
		"pumpside/v1/north/gp-1/x/command", "pumpside/v1/north/%zz/command", "pumpside/v1/north/%67p-1/command", "pumpside/v1/north/alarm/command",
	} {
		if pump, ok := topics.commanded(topic); ok {
			t.Errorf("topic %q gives pump %q", topic, pump)
		}
	}
}
