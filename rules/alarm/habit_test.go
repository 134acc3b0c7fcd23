package alarm_test

import (
	"testing"
	"time"

	"pumpside/rules/alarm"
)

func TestHabit(t *testing.T) {
	batches := func(h *alarm.Habit, n int, run, pause time.Duration) {
		for range n {
			h.Watch(alarm.No, run)
			h.Watch(alarm.Yes, pause)
		}
	}
	tests := []struct {
		name string
		live func(h *alarm.Habit)
		want alarm.Known
	}{
		{"nothing was seen", func(*alarm.Habit) {}, alarm.Unknown},
		{"a few pauses are no habit", func(h *alarm.Habit) { batches(h, 5, time.Hour, 20*time.Minute) }, alarm.Unknown},
		{"a pause like the others", func(h *alarm.Habit) { batches(h, 12, time.Hour, 20*time.Minute) }, alarm.No},
		{"a little longer is still the habit", func(h *alarm.Habit) {
			batches(h, 12, time.Hour, 20*time.Minute)
			h.Watch(alarm.Yes, 40*time.Minute)
		}, alarm.No},
		{"more than three times the longest", func(h *alarm.Habit) {
			batches(h, 12, time.Hour, 20*time.Minute)
			h.Watch(alarm.Yes, 41*time.Minute)
		}, alarm.Yes},
		{"short pauses leave half an hour", func(h *alarm.Habit) {
			batches(h, 12, time.Hour, time.Minute)
			h.Watch(alarm.Yes, 28*time.Minute)
		}, alarm.No},
		{"it never paused in a week", func(h *alarm.Habit) {
			h.Watch(alarm.No, 8*24*time.Hour)
			h.Watch(alarm.Yes, 31*time.Minute)
		}, alarm.Yes},
		{"time nobody saw is no pause", func(h *alarm.Habit) {
			batches(h, 12, time.Hour, 20*time.Minute)
			h.Watch(alarm.Unknown, 10*time.Hour)
		}, alarm.No},
		{"it runs again", func(h *alarm.Habit) {
			batches(h, 12, time.Hour, 20*time.Minute)
			h.Watch(alarm.No, time.Second)
		}, alarm.Unknown},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			var h alarm.Habit
			tt.live(&h)
			if got := h.Unusual(); got != tt.want {
				t.Errorf("unusual: %v, want %v", got, tt.want)
			}
		})
	}
}
