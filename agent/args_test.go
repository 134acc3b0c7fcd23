package main

import (
	"testing"
	"time"
)

func TestADateOfTodayIsNeverLaterThanNow(t *testing.T) {
	zone := time.FixedZone("IST", 19800) // hardly the machine's own
	at := func(text string) time.Time {
		when, err := time.ParseInLocation("2006-01-02 15:04", text, zone)
		if err != nil {
			t.Fatal(err)
		}
		return when
	}
	for _, tt := range []struct{ name, text, now, want string }{
		{"today before noon is now", "2026-11-25", "2026-11-25 02:52", "2026-11-25 02:52"},
		{"today after noon is noon", "2026-11-25", "2026-11-25 15:30", "2026-11-25 12:00"},
		{"yesterday is noon", "2026-11-24", "2026-11-25 02:52", "2026-11-24 12:00"},
		{"tomorrow stays tomorrow, to be refused", "2026-11-26", "2026-11-25 02:52", "2026-11-26 12:00"},
		{"a time of day stays as it is", "2026-11-25 14:00", "2026-11-25 02:52", "2026-11-25 14:00"},
		{"a time that names its zone keeps it", "2026-11-25T08:30:00Z", "2026-11-25 02:52", "2026-11-25 14:00"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			got, err := whenAt(tt.text, at(tt.now), zone)
			if err != nil || !got.Equal(at(tt.want)) {
				t.Errorf("%v, %v; want %s", got, err, tt.want)
			}
		})
	}
}

func TestSpansAreReadAndShownInDays(t *testing.T) {
	for _, tt := range []struct {
		text  string
		want  time.Duration
		shown string
	}{
		{"7d", 7 * 24 * time.Hour, "7d"},
		{"24h", 24 * time.Hour, "1d"},
		{"1h30m", 90 * time.Minute, "1h30m0s"},
		{"0s", 0, "0s"},
		{"-5m", -5 * time.Minute, "-5m0s"},
	} {
		var s span
		if err := s.Set(tt.text); err != nil || time.Duration(s) != tt.want || s.String() != tt.shown {
			t.Errorf("%s is read as %v and shown as %s, %v; want %v and %s", tt.text, time.Duration(s), &s, err, tt.want, tt.shown)
		}
	}
	for _, text := range []string{"yesterday", "1y", "d", "-3d", "99999d", ""} {
		if err := new(span).Set(text); err == nil || err.Error() != "write a time such as 90m, 24h or 7d" {
			t.Errorf("%q: %v", text, err)
		}
	}
}
