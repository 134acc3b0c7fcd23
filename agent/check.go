package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

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
	explain := c.Flags().String("explain", "", "explain a `key` of the configuration, such as pumps.mechanism, and end; . explains the file")
	profile := c.Flags().String("profile", "", "print a device profile by its `name`, and end; list lists them")
	schema := c.Flags().Bool("schema", false, "print the JSON Schema of the configuration for an editor, and end")
	c.RunE = func(c *cobra.Command, _ []string) error {
		switch {
		case *explain != "":
			return explainKey(c.OutOrStdout(), *explain)
		case *profile != "":
			return showProfile(c.OutOrStdout(), *profile)
		case *schema:
			_, err := c.OutOrStdout().Write(configs.Schema())
			return err
		}
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

// explainKey prints what a key is; a key that is none is wrong usage.
func explainKey(w io.Writer, key string) error {
	text, err := configs.Explain(strings.Trim(key, "."))
	if err != nil {
		return misuse{fmt.Errorf("--explain: %w", err)}
	}
	_, err = io.WriteString(w, text)
	return err
}

// showProfile prints one profile, or the list of all.
func showProfile(w io.Writer, name string) error {
	list := configs.Profiles()
	var names []string
	for _, p := range list {
		if p.Name == name {
			_, err := w.Write(p.Text)
			return err
		}
		names = append(names, p.Name)
	}
	if name != "list" {
		return misuse{fmt.Errorf("--profile: there is no profile %q; use one of %s", name, strings.Join(names, ", "))}
	}
	return printed(w, false, nil, func(w io.Writer) {
		for _, p := range list {
			fmt.Fprintf(w, "%s\t%s\n", p.Name, p.Title)
		}
	})
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
	describeSights(w, c)
	if bad := c.Unusable(); len(bad) > 0 {
		fmt.Fprintf(w, "\nfiles that cannot be used here:\n%s\n", bad.Error())
	}
	if len(c.Notes) > 0 {
		fmt.Fprintf(w, "\nnotes:\n%s\n", c.Notes.Error())
	}
}

func checkJSON(w io.Writer, c *configs.Config, problems configs.Problems) error {
	out := struct {
		Good     bool               `json:"good"`
		Problems configs.Problems   `json:"problems"`
		Unusable configs.Problems   `json:"unusable_files,omitempty"` // here
		Notes    configs.Problems   `json:"notes,omitempty"`
		Hash     string             `json:"config_hash,omitempty"`
		Loads    map[string]float64 `json:"bus_load_ratio,omitempty"`
	}{Good: len(problems) == 0, Problems: problems}
	if out.Problems == nil {
		out.Problems = configs.Problems{}
	}
	if c != nil {
		out.Unusable = c.Unusable()
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
