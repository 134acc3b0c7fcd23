package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"

	"github.com/spf13/cobra"

	"pumpside/configs"
)

func checkCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "check",
		Short: "Check a configuration: every problem with its place, the load of each bus, what cannot be seen",
		Args:  cobra.NoArgs,
	}
	path := configFlag(c)
	asJSON := c.Flags().Bool("json", false, "print JSON")
	c.RunE = func(c *cobra.Command, _ []string) error {
		text, err := os.ReadFile(*path)
		if err != nil {
			return err
		}
		config, err := configs.Load(*path, text)
		problems, _ := errors.AsType[configs.Problems](err)
		if *asJSON {
			return checkJSON(c.OutOrStdout(), config, problems)
		}
		if err != nil {
			fmt.Fprintln(c.OutOrStdout(), err)
			fmt.Fprintf(c.OutOrStdout(), "\n%d problem(s); nothing was changed\n", len(problems))
			return errUnwell
		}
		return printed(c.OutOrStdout(), false, nil, func(w io.Writer) { describe(w, config) })
	}
	return c
}

func describe(w io.Writer, c *configs.Config) {
	fmt.Fprintf(w, "%s (%s): %d bus(es), %d device(s), %d pump(s); configuration %s is good\n\n", c.Site.Title, c.Site.ID, len(c.Buses), len(c.Devices), len(c.Pumps), c.Hash)
	fmt.Fprintln(w, "BUS\tREQUESTS\tROUTINE\tSLOW\tFAST\tAVERAGE")
	for _, l := range c.BusLoads() {
		fmt.Fprintf(w, "%s\t%d\t%.1f %%\t%.1f %%\t%.1f %%\t%.1f %%\n", l.Bus, l.Requests, 100*l.Routine, 100*l.Slow, 100*l.Fast, 100*l.Average())
	}
	for _, s := range c.Summaries() {
		fmt.Fprintf(w, "\n%s has %d signals", s.Pump, len(s.Mapped))
		if len(s.Missing) == 0 {
			fmt.Fprintln(w, " and lacks none that would show more.")
			continue
		}
		fmt.Fprintln(w, ". Without these:")
		for _, gap := range s.Missing {
			fmt.Fprintf(w, "  %s\t%s\n", gap.Wanted, gap.Cost)
		}
	}
	if len(c.Notes) > 0 {
		fmt.Fprintf(w, "\nnotes:\n%s\n", c.Notes.Error())
	}
}

func checkJSON(w io.Writer, c *configs.Config, problems configs.Problems) error {
	out := struct {
		Good     bool               `json:"good"`
		Problems configs.Problems   `json:"problems"`
		Notes    configs.Problems   `json:"notes,omitempty"`
		Hash     string             `json:"config_hash,omitempty"`
		Loads    map[string]float64 `json:"bus_load_ratio,omitempty"`
	}{Good: len(problems) == 0, Problems: problems}
	if out.Problems == nil {
		out.Problems = configs.Problems{}
	}
	if c != nil {
		out.Notes, out.Hash, out.Loads = c.Notes, c.Hash, map[string]float64{}
		for _, l := range c.BusLoads() {
			out.Loads[l.Bus] = l.Average()
		}
	}
	e := json.NewEncoder(w)
	e.SetIndent("", "  ")
	if err := e.Encode(out); err != nil || out.Good {
		return err
	}
	return errUnwell
}
