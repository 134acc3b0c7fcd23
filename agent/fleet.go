package main

import (
	"crypto/rand"
	"fmt"
	"io"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"pumpside/exporter/mqtt"
	reports "pumpside/rules/report"
)

// A fleet is where the reports of many sites are read.
type fleet struct {
	mqtt.Settings
	passwordFile string
	quiet        time.Duration
	most         int
}

func fleetFlags(c *cobra.Command) *fleet {
	f := &fleet{Settings: mqtt.Settings{ClientID: "pumpside-report-" + strings.ToLower(rand.Text()[:8])}}
	flags := c.Flags()
	flags.StringVar(&f.Broker, "broker", "", "read the reports of all sites at this MQTT broker, such as tls://broker.example:8883")
	flags.StringVar(&f.User, "user", "", "user name at the broker")
	flags.StringVar(&f.passwordFile, "password-file", "", "`file` with the password on its first line")
	flags.StringVar(&f.CAFile, "ca-file", "", "PEM `file` of the authorities to trust at a tls:// broker")
	flags.StringVar(&f.CertificateFile, "certificate-file", "", "PEM `file` of the client certificate")
	flags.StringVar(&f.KeyFile, "key-file", "", "PEM `file` of its key")
	flags.StringVar(&f.ServerName, "server-name", "", "the name the broker's certificate must carry")
	flags.DurationVar(&f.quiet, "quiet", time.Second, "how long the broker must say nothing new; longer for a slow link")
	flags.IntVar(&f.most, "most", 0, "with --broker: list at most so many pumps; 0 lists all")
	return f
}

// fleetReport reads every site at the broker and prints who is needed where.
func fleetReport(c *cobra.Command, f *fleet, asJSON bool) error {
	if f.passwordFile != "" {
		password, err := mqtt.PasswordIn(f.passwordFile)
		if err != nil {
			return fmt.Errorf("--password-file: %w", err)
		}
		f.Password = password
	}
	read, err := mqtt.ReadReports(c.Context(), f.Settings, f.quiet)
	if err != nil {
		return err
	}
	sites := make([]reports.Site, len(read))
	for i, s := range read {
		sites[i] = reports.Site{Site: s.Site, Online: s.Online, Report: s.Report, Trouble: s.Trouble}
	}
	all := reports.FleetOf(time.Now().UTC(), sites)
	return printed(c.OutOrStdout(), asJSON, all, func(w io.Writer) { all.Print(w, f.most) })
}
