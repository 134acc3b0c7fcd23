package main

import (
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
)

// asUsed wants the arguments that a command's use line names, and says which
// are missing.
func asUsed(c *cobra.Command, args []string) error {
	names, verb := strings.Fields(c.Use)[1:], "is"
	if len(names)-len(args) > 1 {
		verb = "are"
	}
	line := strings.TrimSuffix(c.CommandPath()+" "+strings.Join(names, " "), " ")
	switch {
	case len(args) < len(names):
		return fmt.Errorf("%s %s missing; write %s", strings.Join(names[len(args):], " and "), verb, line)
	case len(args) > len(names):
		return fmt.Errorf("%q is too much; write %s", args[len(names)], line)
	}
	return nil
}

// A span is a time to look back or ahead: what [time.ParseDuration] reads, and
// days.
type span time.Duration

// spanFlag adds a flag for a length of time.
func spanFlag(flags *pflag.FlagSet, name string, otherwise time.Duration, usage string) *time.Duration {
	s := otherwise
	flags.Var((*span)(&s), name, usage)
	return &s
}

// Set implements [pflag.Value].
func (s *span) Set(text string) error {
	if days, ok := strings.CutSuffix(text, "d"); ok {
		if n, err := strconv.ParseUint(days, 10, 16); err == nil {
			*s = span(time.Duration(n) * 24 * time.Hour)
			return nil
		}
	}
	d, err := time.ParseDuration(text)
	if err != nil {
		return errors.New("write a time such as 90m, 24h or 7d")
	}
	*s = span(d)
	return nil
}

// String implements [pflag.Value].
func (s *span) String() string {
	const day = 24 * time.Hour
	if d := time.Duration(*s); d > 0 && d%day == 0 {
		return strconv.Itoa(int(d/day)) + "d"
	}
	return time.Duration(*s).String()
}

// Type implements [pflag.Value].
func (*span) Type() string { return "time" }
