package main

import (
	"encoding/json"
	"fmt"
	"runtime"
	"runtime/debug"

	"github.com/spf13/cobra"
)

// version is set at release by the linker: -X main.version=1.2.3.
var version = "devel"

func versionCommand() *cobra.Command {
	asJSON := false
	c := &cobra.Command{
		Use:   "version",
		Short: "Say which build this is",
		Args:  cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			out := c.OutOrStdout()
			if asJSON {
				return json.NewEncoder(out).Encode(map[string]string{
					"version": version, "go_version": runtime.Version(), "platform": runtime.GOOS + "/" + runtime.GOARCH, "revision": revision(),
				})
			}
			_, err := fmt.Fprintln(out, versionLine())
			return err
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "print JSON")
	return c
}

func versionLine() string {
	return fmt.Sprintf("pumpside %s, %s, %s/%s%s", version, runtime.Version(), runtime.GOOS, runtime.GOARCH, prefixed(", revision ", revision()))
}

// revision is the commit the binary was built from, when the build knew it.
func revision() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return ""
	}
	for _, s := range info.Settings {
		if s.Key == "vcs.revision" {
			return s.Value
		}
	}
	return ""
}

func prefixed(prefix, text string) string {
	if text == "" {
		return ""
	}
	return prefix + text
}
