package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"time"

	"github.com/goburrow/serial"
	"github.com/spf13/cobra"
	"golang.org/x/sync/errgroup"

	"pumpside/simulator"
)

func simulateCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "simulate",
		Short: "Serve simulated pump skids over Modbus TCP or RTU, with faults",
		Long: `Serve simulated pump skids over Modbus, for trying a configuration without a
pump. Skid 1 answers as units 1 (drive) and 2 (instruments), skid 2 as 3 and 4,
and so on. To practise with a map that nobody knows, move units and registers
with --first-unit and --shift.

A fault is a step of a scenario, such as
  60s skid 1 suction valve leak, cylinder 2, size 0.05, over 10m
  90s skid 1 device silent, device instruments
Skids and cylinders count from 1. Give --fault several times; --list shows the
actions.`,
		Args: cobra.NoArgs,
	}
	var s simulation
	f := c.Flags()
	f.StringVar(&s.tcp, "tcp", "", "serve Modbus TCP at this `address`; 127.0.0.1:5020 when nothing else is asked for")
	f.StringVar(&s.rtuTCP, "rtu-over-tcp", "", "serve RTU frames over TCP at this `address`")
	f.StringVar(&s.serial, "serial", "", "serve RTU on this serial `device`; never on a line with real devices or a controller: it answers in their place")
	f.BoolVar(&s.pty, "pty", false, "serve RTU on a new pseudo-terminal and print its path")
	f.IntVar(&s.baud, "baud", 19200, "bits a second; paces the answers on RTU")
	f.IntVar(&s.firstUnit, "first-unit", 1, "unit number of the first drive; the others follow")
	f.Uint16Var(&s.shift, "shift", 0, "put every register so many addresses further than --list says")
	f.IntVar(&s.skids, "skids", 1, "how many, 1 to 123")
	f.Uint64Var(&s.seed, "seed", 1, "of everything random")
	f.BoolVar(&s.stopped, "stopped", false, "begin with the pumps stopped")
	f.StringArrayVar(&s.faults, "fault", nil, "what happens; see above")
	f.StringVar(&s.config, "write-config", "", "also write a configuration for --tcp to this `file`; it must not exist")
	list := f.Bool("list", false, "list the actions of --fault and the registers, and end")
	c.RunE = func(c *cobra.Command, _ []string) error {
		if *list {
			return listSimulation(c.OutOrStdout())
		}
		return s.run(c.Context(), c.OutOrStdout())
	}
	return c
}

// A simulation is what simulate was asked for.
type simulation struct {
	tcp, rtuTCP, serial string
	pty                 bool
	baud, skids         int
	firstUnit           int
	shift               uint16
	seed                uint64
	stopped             bool
	faults              []string
	config              string
}

func (s *simulation) run(ctx context.Context, out io.Writer) error {
	if s.tcp == "" && s.rtuTCP == "" && s.serial == "" && !s.pty {
		s.tcp = "127.0.0.1:5020"
	}
	server, err := s.build()
	if err != nil {
		return err
	}
	group, ctx := errgroup.WithContext(ctx)
	for _, way := range []struct {
		address string
		framing simulator.Framing
		name    string
	}{{s.tcp, simulator.TCP, "Modbus TCP"}, {s.rtuTCP, simulator.RTU, "RTU over TCP"}} {
		if way.address == "" {
			continue
		}
		l, err := net.Listen("tcp", way.address)
		if err != nil {
			return err
		}
		fmt.Fprintf(out, "%s at %s\n", way.name, l.Addr())
		if way.framing == simulator.TCP {
			if err := s.writeConfig(l.Addr().String()); err != nil {
				return errors.Join(err, l.Close())
			}
		}
		group.Go(func() error { return server.Serve(ctx, l, way.framing) })
	}
	if err := s.serveLines(ctx, group, server, out); err != nil {
		return err
	}
	fmt.Fprintf(out, "%d skid(s), units %d to %d, seed %d; stop with Ctrl-C\n", s.skids, s.firstUnit, s.firstUnit+2*s.skids-1, s.seed)
	return group.Wait()
}

func (s *simulation) build() (*simulator.Server, error) {
	const units = 247 // on a serial line
	switch {
	case s.firstUnit < 1 || s.skids < 1 || s.firstUnit+2*s.skids-1 > units:
		return nil, misuse{fmt.Errorf("--skids %d from --first-unit %d does not fit: each takes two of the %d unit numbers", s.skids, s.firstUnit, units)}
	case s.config != "" && (s.shift > 0 || s.firstUnit != 1):
		return nil, misuse{errors.New("--write-config gives the map away: leave it out beside --shift and --first-unit")}
	}
	var skids []*simulator.Skid
	for i := range s.skids {
		set := simulator.DefaultSettings(s.seed + uint64(i))
		set.Running = !s.stopped
		skid, err := simulator.NewSkid(set)
		if err != nil {
			return nil, err
		}
		skids = append(skids, skid)
	}
	var scenario simulator.Scenario
	for _, text := range s.faults {
		step, err := simulator.ParseStep(text)
		if err == nil && step.Skid >= s.skids {
			err = fmt.Errorf("there are %d skid(s)", s.skids)
		}
		if err != nil {
			return nil, misuse{fmt.Errorf("--fault: %w", err)}
		}
		scenario = append(scenario, step)
	}
	if err := scenario.Apply(skids); err != nil {
		return nil, misuse{fmt.Errorf("--fault: %w", err)}
	}
	moved := map[byte]simulator.Unit{}
	for n, u := range skidUnits(skids) {
		moved[n+byte(s.firstUnit-1)] = simulator.Moved{Unit: u, By: s.shift}
	}
	return &simulator.Server{Units: moved, Baud: s.baud}, nil
}

func (s *simulation) writeConfig(address string) error {
	if s.config == "" {
		return nil
	}
	f, err := os.OpenFile(s.config, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return err
	}
	site := skidSite{ID: "simulated", Title: "Simulated site", Metrics: "127.0.0.1:9793", Store: "pumpside.db", Save: "60 s", Log: "info", Circulation: "north circulation", Required: s.skids}
	for i := range s.skids {
		site.Skids = append(site.Skids, skidPump{
			ID: fmt.Sprintf("gp-%d", i+1), Tag: fmt.Sprintf("GP-%d", i+1), Bus: "tcp: " + address, Drive: 2*i + 1, Module: 2*i + 2,
		})
	}
	return errors.Join(writeSkids(f, site), f.Close())
}

// serveLines serves RTU on a serial device and on a pseudo-terminal.
func (s *simulation) serveLines(ctx context.Context, group *errgroup.Group, server *simulator.Server, out io.Writer) error {
	if s.serial != "" {
		port, err := serial.Open(&serial.Config{Address: s.serial, BaudRate: s.baud, DataBits: 8, Parity: "E", StopBits: 1, Timeout: time.Hour})
		if err != nil {
			return fmt.Errorf("serial device %s: %w", s.serial, err)
		}
		fmt.Fprintf(out, "RTU on %s, %d baud, 8E1\n", s.serial, s.baud)
		group.Go(func() error { return server.ServeRTU(ctx, port) })
	}
	if s.pty {
		pty, err := simulator.OpenPty()
		if err != nil {
			return err
		}
		pty.Baud = s.baud
		fmt.Fprintf(out, "RTU on %s at %d baud\n", pty.Path, s.baud)
		group.Go(func() error { return server.ServeRTU(ctx, pty) })
	}
	return nil
}

func listSimulation(w io.Writer) error {
	fmt.Fprintln(w, "actions:")
	for _, a := range simulator.Actions() {
		fmt.Fprintf(w, "  %v\n", a)
	}
	fmt.Fprintln(w, "\nregisters of each skid:")
	return printed(w, false, nil, func(w io.Writer) {
		fmt.Fprintln(w, "SIGNAL\tDEVICE\tTABLE\tADDRESS\tTYPE\tORDER\tSCALE\tOFFSET\tUNIT\tNOTE")
		for _, r := range simulator.Registers() {
			fmt.Fprintf(w, "%s\t%v\t%v\t%d\t%s\t%s\t%.9g\t%.9g\t%s\t%s\n", r.Signal, r.Device, r.Table, r.Address, r.Type, r.WordOrder, r.Scale, r.Offset, r.Unit, r.Note)
		}
	})
}
