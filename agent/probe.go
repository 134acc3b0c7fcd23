package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"time"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"pumpside/agent/probe"
	"pumpside/drivers/modbus"
)

func probeCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "probe",
		Short: "Look at a bus: find ports, devices and what their registers mean; reads only",
		Long: `Look at a bus while a gateway is being commissioned. Nothing is written to a
device, and no agent is needed.

On a serial line, also behind a serial server, probe must be the only master:
first make sure that no controller polls it, for its polling and yours would
collide, and stop an agent that has the port. While that is stopped no alarm is
raised: tell the control room.

With nothing else: list the serial ports and who uses them.

  probe --rtu PORT --baud 9600,19200 --parity even,none --units 1-10
      try every line setting until one is answered on, then every unit
  probe --tcp HOST:502 --units 3 --read 'holding 0-20' --read 30001-30008
      show registers, on the wire or as a manual numbers them
  probe … --expect 'speed@40103≈1780 rpm' --expect 'status@40101=running'
      find what a display shows, and what is off: address, word order, unit
  probe … --expect 'discharge@30001≈70 bar of 0 to 100 bar'
      find out how an analog input counts a transmitter's range
  probe … --watch
      values live, with rate, jitter and what the faults mean
  probe … --write-config FILE
      draft a configuration from what was found`,
		Args: cobra.NoArgs,
	}
	var p prober
	var units, baud, parity string
	var reads, expects []string
	f := c.Flags()
	f.StringVar(&p.tcp, "tcp", "", "host:port of a Modbus TCP `address`")
	f.StringVar(&p.rtu, "rtu", "", "serial `port`, best by its name under /dev/serial/by-id")
	f.StringVar(&p.rtuTCP, "rtu-over-tcp", "", "host:port of a serial server that passes RTU frames through")
	f.StringVar(&baud, "baud", "19200,9600", "baud `rates` to try")
	f.StringVar(&parity, "parity", "even,none", "`parities` to try: even, none, odd; none goes with 2 stop bits and then 1")
	f.StringVar(&units, "units", "1", "unit `numbers` to try, such as 1-10,17")
	f.StringArrayVar(&reads, "read", nil, "`range` to read: 'holding 0-20', 'input 8', or a manual's 40101-40120; several times")
	f.IntVar(&p.base, "doc-base", 1, "the manual's first register: 1 where 40001 is address 0, 0 where 40000 is")
	f.StringArrayVar(&expects, "expect", nil, "a `value` to find, such as 'speed≈1780 rpm', 'speed@40103≈1780 rpm ±5 %', 'p@30001≈70 bar of 0 to 100 bar', 'status@40101=running' or 'demand@10002=on'; several times")
	f.IntVar(&p.rounds, "rounds", 3, "how often to read the ranges, to see what is steady")
	f.DurationVar(&p.every, "every", time.Second, "time between two rounds")
	f.DurationVar(&p.timeout, "timeout", 300*time.Millisecond, "how long one answer may take")
	f.BoolVar(&p.all, "all", false, "show every type and word order, not only what is plausible")
	f.BoolVar(&p.watch, "watch", false, "go on reading and show the values live")
	f.DurationVar(&p.watchFor, "for", 0, "stop watching after this time; 0 waits for Ctrl-C")
	f.StringVar(&p.draft, "write-config", "", "draft a configuration into this `file`; it must not exist")
	f.BoolVar(&p.json, "json", false, "print JSON")
	c.RunE = func(c *cobra.Command, _ []string) error {
		p.out, p.progress = c.OutOrStdout(), progress{terminal: term.IsTerminal(int(os.Stderr.Fd())), out: os.Stderr}
		if p.tcp == "" && p.rtu == "" && p.rtuTCP == "" {
			return listPorts(p.out, p.json)
		}
		if err := p.understand(units, baud, parity, reads, expects); err != nil {
			return misuse{err}
		}
		return p.run(c.Context())
	}
	return c
}

// A prober is what probe was asked for, and what it has found so far.
type prober struct {
	tcp, rtu, rtuTCP string
	base, rounds     int
	every, timeout   time.Duration
	all, watch, json bool
	watchFor         time.Duration
	draft            string

	lines   []modbus.Settings // to try, in this order
	units   []byte
	asked   []probe.Range // by the person
	ranges  []probe.Range // to read: those, and around what is expected
	expects []probe.Expectation

	out      io.Writer
	progress progress
	report   report
}

// understand reads the command line; its error says what would be right.
func (p *prober) understand(units, baud, parity string, reads, expects []string) (err error) {
	if p.watch && p.json {
		return errors.New("--watch is for people; leave --json out")
	}
	if p.rounds < 1 || p.every <= 0 || p.timeout <= 0 {
		return errors.New("--rounds must be 1 or more, --every and --timeout more than 0")
	}
	if p.units, err = probe.ParseUnits(units); err != nil {
		return fmt.Errorf("--units: %w", err)
	}
	if p.lines, err = p.linesToTry(baud, parity); err != nil {
		return err
	}
	for _, text := range reads {
		r, err := probe.ParseRange(text, p.base)
		if err != nil {
			return fmt.Errorf("--read: %w", err)
		}
		p.asked = append(p.asked, r)
	}
	for _, text := range expects {
		e, err := probe.ParseExpectation(text, p.base)
		if err != nil {
			return fmt.Errorf("--expect: %w", err)
		}
		p.expects = append(p.expects, e)
	}
	p.ranges = probe.Merged(append(probe.RangesAround(p.expects), p.asked...))
	if len(p.ranges) == 0 && (p.watch || len(p.expects) > 0) {
		return errors.New("say what to read, such as --read 'holding 0-20', or --expect with the manual's register: 'speed@40103≈1780 rpm'")
	}
	return nil
}

func (p *prober) linesToTry(baud, parity string) ([]modbus.Settings, error) {
	ways := 0
	for _, address := range []string{p.tcp, p.rtu, p.rtuTCP} {
		if address != "" {
			ways++
		}
	}
	if ways != 1 {
		return nil, errors.New("give one of --tcp, --rtu and --rtu-over-tcp")
	}
	one := modbus.Settings{
		Kind: modbus.TCP, Address: p.tcp, Timeout: p.timeout,
		// A unit that does not answer is asked again at once: it is being looked for.
		RetryFirst: time.Millisecond, RetryMost: time.Millisecond, LateLimit: p.timeout,
	}
	var list []modbus.Settings
	switch {
	case p.rtuTCP != "":
		one.Kind, one.Address = modbus.RTUOverTCP, p.rtuTCP
		list = append(list, one)
	case p.rtu != "":
		lines, err := probe.ParseLines(baud, parity)
		if err != nil {
			return nil, err
		}
		one.Kind, one.Address = modbus.RTU, p.rtu
		for _, line := range lines {
			one.Line = line
			list = append(list, one)
		}
	default:
		list = append(list, one)
	}
	return list, list[0].Check()
}

// run looks for devices, reads them, and writes down what it found. Nothing
// found is not well.
func (p *prober) run(ctx context.Context) error {
	if p.rtu != "" {
		if _, err := os.Stat(p.rtu); errors.Is(err, fs.ErrNotExist) {
			return fmt.Errorf("there is no port %s; pumpside probe, with nothing behind it, lists those there are", p.rtu)
		}
	}
	bus, err := p.search(ctx)
	if err != nil {
		return err
	}
	if bus == nil {
		return p.ended(errUnwell)
	}
	defer bus.Close()
	for i := range p.report.Devices {
		p.read(ctx, bus, &p.report.Devices[i])
	}
	missed := p.find()
	if err := p.write(); err != nil {
		return err
	}
	if missed {
		return p.ended(errUnwell)
	}
	if err := p.ended(nil); err != nil || !p.watch {
		return err
	}
	p.watchAll(ctx, bus)
	return nil
}

// ended prints what was found. With a verdict, that is all.
func (p *prober) ended(verdict error) error {
	if p.json {
		return errors.Join(printed(p.out, true, p.report, nil), verdict)
	}
	p.tell()
	return verdict
}

// A progress says on a terminal how far a long work has come.
type progress struct {
	out      io.Writer
	terminal bool
	began    time.Time
	shown    bool
}

// progressAfter is how long work may take before it is worth a word.
const progressAfter = 2 * time.Second

func (p *progress) begin() { p.began, p.shown = time.Now(), false }

// at says that done of all steps are over.
func (p *progress) at(done, all int, what string) {
	took := time.Since(p.began)
	if !p.terminal || took < progressAfter || done == 0 {
		return
	}
	left := time.Duration(float64(took) / float64(done) * float64(all-done)).Round(time.Second)
	fmt.Fprintf(p.out, "\r\x1b[K%d of %d, %v left: %s", done, all, left, what)
	p.shown = true
}

func (p *progress) end() {
	if p.shown {
		fmt.Fprint(p.out, "\r\x1b[K")
	}
}
