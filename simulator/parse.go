package simulator

import (
	"fmt"
	"strconv"
	"strings"
	"time"
)

// ParseStep reads a step of a scenario as people write it:
//
//	90s skid 1 suction valve leak, cylinder 2, size 0.1, over 10m
//	2m skid 2 device silent, device drive
//	3m skid 1 signal frozen, signal discharge_pressure, size 1
//
// Skids and cylinders are counted from 1. A fault without a size gets size 1.
func ParseStep(text string) (Step, error) {
	parts := strings.Split(text, ",")
	head := strings.Fields(parts[0])
	if len(head) < 4 || head[1] != "skid" {
		return Step{}, fmt.Errorf("%q is not a step; write it like \"90s skid 1 suction valve leak, cylinder 2, size 0.1, over 10m\"", text)
	}
	at, err := time.ParseDuration(head[0])
	if err != nil {
		return Step{}, fmt.Errorf("step %q: %q is not a time such as 90s", text, head[0])
	}
	skid, err := strconv.Atoi(head[2])
	if err != nil || skid < 1 {
		return Step{}, fmt.Errorf("step %q: skid %q; count from 1", text, head[2])
	}
	do, err := ParseAction(strings.Join(head[3:], " "))
	if err != nil {
		return Step{}, fmt.Errorf("step %q: %w", text, err)
	}
	s := Step{Skid: skid - 1, Event: Event{At: at, Do: do}}
	if do.IsFault() || do == AcrossTheLine {
		s.Size = 1
	}
	for _, part := range parts[1:] {
		if err := s.detail(strings.TrimSpace(part)); err != nil {
			return Step{}, fmt.Errorf("step %q: %w", text, err)
		}
	}
	return s, s.check()
}

// detail reads one "key value" after the action.
func (s *Step) detail(text string) (err error) {
	key, value, _ := strings.Cut(text, " ")
	switch key {
	case "cylinder":
		s.Cylinder, err = strconv.Atoi(value)
		s.Cylinder--
	case "size":
		s.Size, err = strconv.ParseFloat(value, 64)
	case "over":
		s.Onset, err = time.ParseDuration(value)
	case "signal":
		s.Signal = value
	case "device":
		s.Device, err = parseDevice(value)
	default:
		return fmt.Errorf("unknown key %q; one of cylinder, size, over, signal, device", key)
	}
	if err != nil {
		return fmt.Errorf("%s %q: %w", key, value, err)
	}
	return nil
}

func parseDevice(text string) (Device, error) {
	for d := range deviceCount {
		if d.String() == text {
			return d, nil
		}
	}
	return 0, fmt.Errorf("one of %v, %v", Drive, Instruments)
}
