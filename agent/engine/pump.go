package engine

import (
	"cmp"
	"context"
	"errors"
	"slices"
	"sync/atomic"
	"time"

	"pumpside/drivers"
	"pumpside/rules"
	"pumpside/rules/alarm"
	"pumpside/rules/trend"
)

// beat is how often time passes when nothing is read.
const beat = time.Second

// settleFor is how long batches of several buses wait for one another, so that
// they are stepped in the order of their instants.
const settleFor = 250 * time.Millisecond

// inboxSize is how many batches wait for a pump that is busy: some seconds of a
// fast window, longer than a keeper blocks. When it is full the newest is
// dropped and counted.
const inboxSize = 128

// A Record is what one step of one subject (a pump, or "" for the site) leaves
// behind.
type Record struct {
	Subject string
	Events  []*alarm.Event
	Blocks  []*trend.Block
	// Captures are windows of raw pressure around the change of a finding.
	Captures []*rules.Capture
	State    []byte // JSON; nil: as before
	NoState  error  // why there is none, when it cannot be written

	Counters []byte // the pump's packed counters; nil for the site
}

// A Keeper makes things durable.
type Keeper interface {
	// Keep blocks until r is durable, for about two seconds at most. When that
	// fails it says so itself, and r goes out marked as not stored.
	Keep(ctx context.Context, r Record)
	// Count takes a copy of a pump's packed counters for the next save and
	// does not block.
	Count(pump string, packed []byte)
}

// A Recorder takes every batch that is about to be stepped, with the state
// before it. It must not block and keep neither.
type Recorder interface {
	Record(s *rules.State, b *drivers.Batch)
}

// stateEvery is how often a pump's whole state is written when nothing
// happens.
const stateEvery = time.Hour

// ErrStopping is the answer to a command that came while the agent stops.
var ErrStopping = errors.New("the agent is stopping; give the command again when it is back")

// A Pump is the goroutine around one pump's rules.
type Pump struct {
	Settings *rules.Settings
	Several  bool // fed by more than one bus
	Now      func() drivers.Instant
	Keeper   Keeper
	Tell     func(pump string, events []*alarm.Event) // after they were kept; must not block
	Group    func() drivers.Group                     // how its group stands; asked on every beat; nil for none
	Recorder Recorder                                 // nil: nothing is recorded

	state     *rules.State
	began     []rules.Change // what the start brought, kept when Run begins
	inbox     chan drivers.Batch
	commands  chan request
	waiting   []drivers.Batch // by instant, not yet stepped
	dropped   atomic.Uint64
	snapshot  atomic.Pointer[rules.Snapshot]
	saved     time.Time // when the whole state was last written
	ran       time.Time // when Run began
	published time.Time // when the newest snapshot was published
	packed    []byte    // the counters, for the keeper to copy
	looks     chan look
	watched   atomic.Int64 // until when somebody looks, as time since boot
	shown     time.Duration
}

// request is a command and where its answer goes.
type request struct {
	command drivers.Command
	answer  chan *alarm.Event // capacity 1
}

// Load makes the pump ready from what was saved; nil is a pump never seen.
// Call it once, before anything else.
func (p *Pump) Load(saved *rules.Saved) {
	p.inbox, p.commands, p.looks = make(chan drivers.Batch, inboxSize), make(chan request), make(chan look)
	p.state, p.began = rules.Start(p.Settings, saved)
	p.snapshot.Store(p.state.Snapshot(p.Settings))
}

// Snapshot gives how the pump stands. Any goroutine may call it; nobody may
// change what it returns.
func (p *Pump) Snapshot() *rules.Snapshot { return p.snapshot.Load() }

// Dropped counts batches that were lost because the pump was too busy.
func (p *Pump) Dropped() uint64 { return p.dropped.Load() }

// Deliver takes a batch over and never blocks.
func (p *Pump) Deliver(b drivers.Batch) {
	select {
	case p.inbox <- b:
	default:
		p.dropped.Add(1)
	}
}

// Do lets the rules decide on a command and gives the event that came of it.
func (p *Pump) Do(ctx context.Context, c drivers.Command) (*alarm.Event, error) {
	return do(ctx, p.commands, c)
}

func do(ctx context.Context, commands chan<- request, c drivers.Command) (*alarm.Event, error) {
	r := request{command: c, answer: make(chan *alarm.Event, 1)}
	select {
	case commands <- r:
	case <-ctx.Done():
		return nil, context.Cause(ctx)
	}
	select {
	case e := <-r.answer:
		if e == nil {
			return nil, ErrStopping
		}
		return e, nil
	case <-ctx.Done():
		return nil, context.Cause(ctx)
	}
}

// Run steps the pump until ctx ends, writes its state a last time and returns
// nil.
func (p *Pump) Run(ctx context.Context) error {
	ticker := time.NewTicker(beat)
	defer ticker.Stop()
	settle := time.NewTimer(time.Hour)
	defer settle.Stop()
	p.ran = time.Now()
	p.keep(ctx, p.began)
	for {
		select {
		case <-ctx.Done():
			p.stop()
			return nil
		case b := <-p.inbox:
			p.receive(ctx, b, settle)
		case <-settle.C:
			p.stepBefore(ctx, p.Now().SinceBoot-settleFor, settle)
		case r := <-p.commands:
			p.obey(ctx, r)
		case l := <-p.looks:
			l.answer <- p.state.Trend.InMemory(l.resolution)
		case <-ticker.C:
			p.pass(ctx)
		}
	}
}

// receive steps a batch, or keeps it a little for others that may be earlier.
func (p *Pump) receive(ctx context.Context, b drivers.Batch, settle *time.Timer) {
	if !p.Several {
		p.step(ctx, &b)
		return
	}
	at, _ := slices.BinarySearchFunc(p.waiting, b, func(w, b drivers.Batch) int {
		return cmp.Or(cmp.Compare(w.At.SinceBoot, b.At.SinceBoot), -1)
	})
	p.waiting = slices.Insert(p.waiting, at, b)
	if len(p.waiting) == 1 {
		settle.Reset(settleFor)
	}
}

// stepBefore steps what is older than limit.
func (p *Pump) stepBefore(ctx context.Context, limit time.Duration, settle *time.Timer) {
	n := 0
	for n < len(p.waiting) && p.waiting[n].At.SinceBoot <= limit {
		p.step(ctx, &p.waiting[n])
		n++
	}
	p.waiting = slices.Delete(p.waiting, 0, n)
	if len(p.waiting) > 0 {
		settle.Reset(max(p.waiting[0].At.SinceBoot-limit, time.Millisecond))
	}
}

// pass lets time pass up to what no waiting batch can precede any more.
func (p *Pump) pass(ctx context.Context) {
	at := p.Now()
	if p.Several {
		at.SinceBoot -= settleFor
		at.Wall = at.Wall.Add(-settleFor)
		if len(p.waiting) > 0 && p.waiting[0].At.SinceBoot < at.SinceBoot {
			return // its timer is about to step it
		}
	}
	if at.Before(p.state.At()) {
		return
	}
	b := drivers.Batch{At: at}
	if p.Group != nil {
		b.Group = p.Group()
	}
	p.step(ctx, &b)
}

// publish shows everyone how the pump stands: at every change, when its speed
// begins or ends to change, at every batch of the first second, and otherwise
// once a second.
func (p *Pump) publish() {
	p.published = time.Now()
	p.snapshot.Store(p.state.Snapshot(p.Settings))
}

func (p *Pump) pack() []byte {
	p.packed, _ = p.state.Counters.AppendBinary(p.packed[:0]) // never fails
	return p.packed
}

// step steps a batch. The keeper gets the counters each time, so that what a
// kill loses is no older than its last save.
func (p *Pump) step(ctx context.Context, b *drivers.Batch) {
	p.keep(ctx, p.rule(b))
	p.Keeper.Count(p.Settings.Pump, p.pack())
	if now := time.Now(); now.Sub(p.published) >= beat-beat/20 || now.Sub(p.ran) < beat || p.state.Ramping() != p.Snapshot().Ramping {
		p.publish()
	}
	p.show(b)
}

// rule passes a batch through the rules.
func (p *Pump) rule(b *drivers.Batch) []rules.Change {
	if p.Recorder != nil {
		p.Recorder.Record(p.state, b)
	}
	return rules.Step(p.Settings, p.state, b)
}

// obey steps a command at the newest instant and answers with its event.
func (p *Pump) obey(ctx context.Context, r request) {
	b := drivers.Batch{At: p.state.At(), Commands: []drivers.Command{r.command}}
	if now := p.Now(); !p.Several && b.At.Before(now) || !b.At.SameBoot(now) {
		b.At = now
	}
	changes := p.rule(&b)
	var answer *alarm.Event
	for _, c := range changes {
		if c.Event != nil && c.Event.CommandID == r.command.ID && c.Event.User == r.command.User {
			answer = c.Event
			break
		}
	}
	p.keep(ctx, changes)
	r.answer <- answer
}

// keep hands changes to the keeper and then tells them. Everyone who looks
// afterwards sees the state after them.
func (p *Pump) keep(ctx context.Context, changes []rules.Change) {
	if len(changes) == 0 && time.Since(p.saved) < stateEvery {
		return
	}
	r := Record{Subject: p.Settings.Pump, Counters: p.pack()}
	for _, c := range changes {
		if c.Event != nil {
			r.Events = append(r.Events, c.Event)
		}
		if c.Block != nil {
			r.Blocks = append(r.Blocks, c.Block)
		}
		if c.Capture != nil {
			r.Captures = append(r.Captures, c.Capture)
		}
	}
	r.State, r.NoState = p.state.Marshal()
	p.saved = time.Now()
	p.Keeper.Keep(ctx, r)
	p.publish()
	if len(r.Events) > 0 {
		p.Tell(r.Subject, r.Events)
	}
}

// stop steps what waits, closes the open block of history and writes the whole
// state.
func (p *Pump) stop() {
	ctx := context.Background()
	for i := range p.waiting {
		p.step(ctx, &p.waiting[i])
	}
	p.saved = time.Time{}
	p.keep(ctx, p.state.Close(p.Settings))
	for {
		select {
		case r := <-p.commands:
			close(r.answer)
		default:
			return
		}
	}
}
