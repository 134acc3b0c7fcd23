package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"reflect"
	"time"

	"github.com/spf13/cobra"

	"pumpside/configs"
	"pumpside/drivers"
	"pumpside/rules"
	"pumpside/rules/alarm"
)

func replayCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "replay",
		Short: "Pass recorded readings and commands through the same rules at full speed",
		Long: `replay reads a file of readings (CSV, or gzip of it), passes it through the
rules of each pump and prints what follows. The same file always gives the same.

  kind,time,boot,since_boot_s,pump,signal,value,quality,reason,half_width_s
  reading,2026-03-01T12:00:00Z,boot-a,3600.02,gp-1,discharge_pressure,7061000,good,,0.004
  tick,2026-03-01T12:00:01Z,boot-a,3601,gp-1
  command,2026-03-01T12:00:05Z,boot-a,3605,gp-1,"{""user"":""anna"",""verb"":""acknowledge"",""alarm"":""no_flow""}"

or, all good and of one boot,

  time,pump,signal,value

Values are in base units: Pa, m³/s, m³, °C, rpm, W, N·m, A, Hz, seconds, shares
from 0 to 1. half_width_s is how far the time may be wrong; a ~ before a time says
that the clock was not synchronised. Times of a pump ascend. Lines before the
header that begin with # may give the hash of the configuration (# config …), the
state a pump begins with (# state gp-1 {…}) and its service records
(# ledger gp-1 […]).`,
		Args: cobra.NoArgs,
	}
	path := configFlag(c)
	readings := c.Flags().StringArray("readings", nil, "the `file` of readings, or a folder of them; - is standard input; may be repeated")
	skip := c.Flags().Bool("skip-bad-lines", false, "go on after a bad line; each is told")
	asJSON := c.Flags().Bool("json", false, "print JSON, one event a line")
	c.RunE = func(c *cobra.Command, _ []string) error {
		if len(*readings) == 0 {
			return misuse{errors.New("--readings is needed: the file to replay")}
		}
		config, err := loadConfig(*path)
		if err != nil {
			return err
		}
		files, err := readingsFiles(*readings)
		if err != nil {
			return err
		}
		p := player{config: config, words: wordsOf(config), out: c.OutOrStdout(), notes: c.ErrOrStderr(), json: *asJSON, skip: *skip}
		return p.playAll(files, func(path string) (io.ReadCloser, error) { return openInput(c, path) })
	}
	return c
}

// readingsFiles puts the recorded files of a folder, in order, in its place.
func readingsFiles(paths []string) (files []string, err error) {
	for _, path := range paths {
		if at, err := os.Stat(path); err != nil || !at.IsDir() {
			files = append(files, path) // opening says what is wrong with it
			continue
		}
		inside, err := filepath.Glob(filepath.Join(path, "*.csv.gz"))
		if err != nil {
			return nil, err
		}
		if len(inside) == 0 {
			return nil, fmt.Errorf("%s holds no readings files (*.csv.gz)", path)
		}
		files = append(files, inside...) // sorted: by pump, then by number
	}
	return files, nil
}

func openInput(c *cobra.Command, path string) (io.ReadCloser, error) {
	if path == "-" {
		return io.NopCloser(c.InOrStdin()), nil
	}
	return os.Open(path)
}

// A player passes a readings file through the rules.
type player struct {
	config *configs.Config
	words  words
	out    io.Writer
	notes  io.Writer
	json   bool
	skip   bool // go on after a bad line

	pumps    map[string]*played
	readings int
	events   int
	skipped  int
}

// A played is one pump being replayed.
type played struct {
	set   *rules.Settings
	state *rules.State
	told  bool // a file said what it begins with
	fed   bool // it was stepped
}

// playAll plays files one after the other. A pump that was already played goes
// on from where it stands, or, where the record has a hole, from the state that
// the next file begins with.
func (p *player) playAll(files []string, open func(string) (io.ReadCloser, error)) error {
	began := time.Now()
	for _, path := range files {
		in, err := open(path)
		if err != nil {
			return err
		}
		err = p.play(in)
		in.Close()
		if err != nil && len(files) > 1 {
			err = fmt.Errorf("%s: %w", path, err)
		}
		if err != nil {
			return err
		}
	}
	took := time.Since(began).Seconds()
	fmt.Fprintf(p.notes, "%d readings, %d events, %d lines skipped; %.0f readings a second\n", p.readings, p.events, p.skipped, float64(p.readings)/max(took, 1e-9))
	return nil
}

// play reads to the end of a file. A bad line is an error with its number,
// unless skip; nothing after it is carried out then. A packed file whose end is
// missing, as after a power cut, is played as far as it goes.
func (p *player) play(in io.Reader) error {
	f, err := openReadings(in, p.siteSignal)
	if err != nil {
		return err
	}
	f.skip = p.skip
	if f.config != "" && f.config != p.config.Hash {
		fmt.Fprintf(p.notes, "note: recorded under configuration %s, replayed under %s\n", f.config, p.config.Hash)
	}
	if err := p.start(f); err != nil {
		return err
	}
	err = f.each(p.step)
	if errors.Is(err, io.ErrUnexpectedEOF) {
		fmt.Fprintln(p.notes, "note: the file's end is missing")
		err = nil
	}
	return err
}

// step passes what was decoded through the rules.
func (p *player) step(d *decoded) error {
	for _, err := range d.bad {
		p.skipped++
		fmt.Fprintln(p.notes, err)
	}
	if d.pump == "" {
		return nil
	}
	one, known := p.pumps[d.pump]
	if !known {
		err := fmt.Errorf("before line %d: there is no pump %q in the configuration", d.line, d.pump)
		if !p.skip {
			return err
		}
		p.skipped++
		fmt.Fprintln(p.notes, err)
		return nil
	}
	p.readings += len(d.batch.Readings)
	one.fed = true
	return p.tell(d.pump, rules.Step(one.set, one.state, &d.batch))
}

// start makes every pump ready from what the file says it began with, unless it
// stands there.
func (p *player) start(f *readingsFile) error {
	if p.pumps == nil {
		p.pumps = map[string]*played{}
	}
	for i := range p.config.Pumps {
		set := p.config.Pumps[i].Rules
		saved, err := f.saved(set.Pump)
		if err != nil {
			return fmt.Errorf("pump %s: %w", set.Pump, err)
		}
		if one := p.pumps[set.Pump]; one != nil && (one.told || one.fed) {
			if saved == nil || one.stands(saved, f.config == p.config.Hash) {
				continue
			}
			fmt.Fprintf(p.notes, "note: pump %s has a hole in its record, from %s to %s; it goes on with its state then\n", set.Pump, p.when(one.state.At()), p.when(saved.Alarms.Clock.Last))
		}
		state, changes := rules.Start(set, saved)
		p.pumps[set.Pump] = &played{set: set, state: state, told: saved != nil}
		if err := p.tell(set.Pump, changes); err != nil {
			return err
		}
	}
	return nil
}

func (p *player) when(at drivers.Instant) string {
	return at.Wall.In(p.words.zone).Format("2006-01-02 15:04 MST")
}

// stands reports whether a pump stands where it was saved. Under another
// configuration what it counted and journalled may be other than it was then;
// the instant is not.
func (one *played) stands(saved *rules.Saved, sameConfig bool) bool {
	at, then := one.state.At(), saved.Alarms.Clock.Last
	if !at.SameBoot(then) || at.SinceBoot != then.SinceBoot {
		return false
	}
	return !sameConfig || one.state.Seq == saved.Seq && reflect.DeepEqual(one.state.Counters, saved.Counters)
}

// saved is what the file says a pump began with; nil for nothing.
func (f *readingsFile) saved(pump string) (saved *rules.Saved, err error) {
	if text, ok := f.states[pump]; ok {
		if saved, err = rules.Unmarshal([]byte(text)); err != nil {
			return nil, err
		}
	}
	if text, ok := f.ledgers[pump]; ok && saved != nil {
		if err := json.Unmarshal([]byte(text), &saved.Ledger); err != nil {
			return nil, fmt.Errorf("ledger: %w", err)
		}
	}
	return saved, nil
}

// siteSignal finds a signal the site has named.
func (p *player) siteSignal(pump, name string) (drivers.Signal, bool) {
	for i := range p.config.Pumps {
		set := p.config.Pumps[i].Rules
		for j := range set.Signals {
			if s := &set.Signals[j]; set.Pump == pump && s.Name == name {
				return s.Signal, true
			}
		}
	}
	return drivers.NoSignal, false
}

func (p *player) tell(pump string, changes []rules.Change) error {
	for _, c := range changes {
		if c.Event == nil {
			continue
		}
		p.events++
		if err := p.print(pump, c.Event); err != nil {
			return err
		}
	}
	return nil
}

func (p *player) print(pump string, e *alarm.Event) error {
	if p.json {
		text, err := json.Marshal(struct {
			Pump string `json:"pump"`
			*alarm.Event
		}{pump, e})
		if err == nil {
			_, err = fmt.Fprintf(p.out, "%s\n", text)
		}
		return err
	}
	_, err := fmt.Fprintf(p.out, "%s  %-10s %-12v %-28s %s\n", e.At.Wall.In(p.words.zone).Format(time.RFC3339), pump, e.Kind, e.Alarm, p.words.render(pump, e).Headline)
	return err
}
