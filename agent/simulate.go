package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"strconv"
	"strings"
	"time"

	"github.com/goburrow/serial"
	"github.com/spf13/cobra"
	"golang.org/x/sync/errgroup"
	"golang.org/x/sys/unix"

	"pumpside/simulator"
)

func simulateCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "simulate",
		Short: "Serve simulated pump skids over Modbus TCP or RTU, with faults",
		Long: `Serve simulated pump skids over Modbus, for trying a configuration without a
pump. Skid 1 answers as units 1 (drive) and 2 (instruments), skid 2 as 3 and 4,
and so on.

A fault is SKID:AT:ACTION[:KEY=VALUE…], such as
  1:60s:suction valve leak:cylinder=2:size=0.05
  1:90s:device silent:device=instruments
Cylinders count from 1. Give --fault several times; --list shows the actions.`,
		Args: cobra.NoArgs,
	}
	var s simulation
	f := c.Flags()
	f.StringVar(&s.tcp, "tcp", "", "serve Modbus TCP at this `address`; 127.0.0.1:5020 when nothing else is asked for")
	f.StringVar(&s.rtuTCP, "rtu-over-tcp", "", "serve RTU frames over TCP at this `address`")
	f.StringVar(&s.serial, "serial", "", "serve RTU on this serial `device`")
	f.BoolVar(&s.pty, "pty", false, "serve RTU on a new pseudo-terminal and print its path")
	f.IntVar(&s.baud, "baud", 19200, "bits a second; paces the answers on RTU")
	f.IntVar(&s.skids, "skids", 1, "how many, 1 to 123")
	f.Uint64Var(&s.seed, "seed", 1, "of everything random")
	f.BoolVar(&s.stopped, "stopped", false, "begin with the pumps standing")
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
	fmt.Fprintf(out, "%d skid(s), units 1 to %d, seed %d; stop with Ctrl-C\n", s.skids, 2*s.skids, s.seed)
	return group.Wait()
}

func (s *simulation) build() (*simulator.Server, error) {
	if s.skids < 1 || s.skids > 123 {
		return nil, misuse{fmt.Errorf("--skids is %d; use 1 to 123, for each takes two of the 247 unit numbers", s.skids)}
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
		step, err := parseFault(text)
		if err == nil && step.Skid >= s.skids {
			err = fmt.Errorf("there are %d skid(s)", s.skids)
		}
		if err != nil {
			return nil, misuse{fmt.Errorf("--fault %q: %w", text, err)}
		}
		scenario = append(scenario, step)
	}
	if err := scenario.Apply(skids); err != nil {
		return nil, misuse{fmt.Errorf("--fault: %w", err)}
	}
	return &simulator.Server{Units: skidUnits(skids), Baud: s.baud}, nil
}

// parseFault reads SKID:AT:ACTION[:KEY=VALUE…].
func parseFault(text string) (simulator.Step, error) {
	parts := strings.Split(text, ":")
	if len(parts) < 3 {
		return simulator.Step{}, errors.New("write SKID:AT:ACTION, such as 1:60s:suction closed:size=1")
	}
	skid, err := strconv.Atoi(parts[0])
	if err != nil || skid < 1 {
		return simulator.Step{}, fmt.Errorf("skid %q is not a number from 1 on", parts[0])
	}
	at, err := time.ParseDuration(parts[1])
	if err != nil || at < 0 {
		return simulator.Step{}, fmt.Errorf("time %q is not one such as 90s or 5m", parts[1])
	}
	action, err := simulator.ParseAction(parts[2])
	if err != nil {
		return simulator.Step{}, err
	}
	step := simulator.Step{Skid: skid - 1, Event: simulator.Event{At: at, Do: action, Size: 1}}
	for _, pair := range parts[3:] {
		if err := setFault(&step.Event, pair); err != nil {
			return simulator.Step{}, err
		}
	}
	return step, nil
}

func setFault(e *simulator.Event, pair string) error {
	key, value, _ := strings.Cut(pair, "=")
	var err error
	switch key {
	case "size":
		e.Size, err = strconv.ParseFloat(value, 64)
	case "cylinder":
		e.Cylinder, err = strconv.Atoi(value)
		e.Cylinder--
	case "signal":
		e.Signal = value
	case "onset":
		e.Onset, err = time.ParseDuration(value)
	case "device":
		for _, d := range []simulator.Device{simulator.Drive, simulator.Instruments} {
			if d.String() == value {
				e.Device = d
				return nil
			}
		}
		return fmt.Errorf("device %q; use drive or instruments", value)
	default:
		return fmt.Errorf("key %q; use size, cylinder, signal, onset or device", key)
	}
	if err != nil {
		return fmt.Errorf("%s %q is not understood", key, value)
	}
	return nil
}

func (s *simulation) writeConfig(address string) error {
	if s.config == "" {
		return nil
	}
	f, err := os.OpenFile(s.config, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return err
	}
	site := skidSite{ID: "simulated", Title: "Simulated site", Metrics: "127.0.0.1:9793", Store: "pumpside.db", Save: "60 s", Log: "info"}
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
		master, slave, err := openPTY()
		if err != nil {
			return fmt.Errorf("pseudo-terminal: %w", err)
		}
		fmt.Fprintf(out, "RTU on %s\n", slave)
		group.Go(func() error { return server.ServeRTU(ctx, master) })
	}
	return nil
}

// openPTY makes a pseudo-terminal in raw mode and gives its master and the path
// of its other end. The other end is kept open, so that readers may come and go.
func openPTY() (io.ReadWriteCloser, string, error) {
	master, err := os.OpenFile("/dev/ptmx", os.O_RDWR|unix.O_NOCTTY, 0)
	if err != nil {
		return nil, "", err
	}
	raw := int(master.Fd()) // also makes it blocking, so that Close does not end a read; see ptyMaster
	if err := unix.IoctlSetPointerInt(raw, unix.TIOCSPTLCK, 0); err != nil {
		return nil, "", errors.Join(err, master.Close())
	}
	number, err := unix.IoctlGetInt(raw, unix.TIOCGPTN)
	if err != nil {
		return nil, "", errors.Join(err, master.Close())
	}
	path := fmt.Sprintf("/dev/pts/%d", number)
	slave, err := os.OpenFile(path, os.O_RDWR|unix.O_NOCTTY, 0)
	if err != nil {
		return nil, "", errors.Join(err, master.Close())
	}
	if err := makeRaw(int(slave.Fd())); err != nil {
		return nil, "", errors.Join(err, slave.Close(), master.Close())
	}
	return &ptyMaster{fd: raw, master: master, slave: slave}, path, nil
}

func makeRaw(fd int) error {
	t, err := unix.IoctlGetTermios(fd, unix.TCGETS)
	if err != nil {
		return err
	}
	t.Iflag, t.Oflag, t.Lflag = 0, 0, 0
	t.Cc[unix.VMIN], t.Cc[unix.VTIME] = 1, 0
	return unix.IoctlSetTermios(fd, unix.TCSETS, t)
}

// A ptyMaster reads with poll(2), so that Close ends a read that waits.
type ptyMaster struct {
	fd            int
	master, slave *os.File
}

// pollEvery is how long a close may go unnoticed.
const pollEvery = 100 // milliseconds

func (p *ptyMaster) Read(b []byte) (int, error) {
	for {
		set := []unix.PollFd{{Fd: int32(p.fd), Events: unix.POLLIN}}
		n, err := unix.Poll(set, pollEvery)
		switch {
		case errors.Is(err, unix.EINTR) || err == nil && n == 0:
			if _, err := p.master.Stat(); err != nil {
				return 0, io.EOF
			}
			continue
		case err != nil:
			return 0, err
		}
		return p.master.Read(b)
	}
}

func (p *ptyMaster) Write(b []byte) (int, error) { return p.master.Write(b) }

func (p *ptyMaster) Close() error { return errors.Join(p.slave.Close(), p.master.Close()) }

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
