package modbus

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"time"

	gomodbus "github.com/goburrow/modbus"
)

// A Bus reads the devices on one wire. It belongs to one goroutine.
type Bus struct {
	settings Settings
	wire     transport
	pace     pace // of units that do not answer
	units    [256]*unit
	nobody   unit // stands for the unit while the line itself is attended to
}

// A unit is what a Bus knows of one device.
type unit struct {
	id       byte
	client   gomodbus.Client
	packager gomodbus.Packager
	health   backoff
	late     lateness
}

// Open returns a Bus; it opens nothing. The first Read does, and again
// whenever the connection or the device was lost. The error is that of
// Settings.Check.
func Open(s Settings) (*Bus, error) {
	if err := s.Check(); err != nil {
		return nil, fmt.Errorf("bus %s: %w", s.Address, err)
	}
	b := &Bus{settings: s.withDefaults()}
	rng := rand.New(rand.NewPCG(s.Seed, uint64(len(s.Address))))
	b.pace = pace{first: b.settings.RetryFirst, most: b.settings.RetryMost, rng: rng}
	b.wire = transport{
		settings: &b.settings, framing: framingFor(s.Kind), open: openerFor(s.Kind), pace: b.pace,
	}
	return b, nil
}

func framingFor(k Kind) framing {
	if k == TCP {
		return tcpFraming{}
	}
	return rtuFraming{}
}

// Close closes the connection or the device. A later Read would open it again.
func (b *Bus) Close() error {
	b.wire.wake.unwatch()
	b.wire.lose()
	return nil
}

// Read asks for r and returns the answer, or a *RangeError; ReasonOf gives the
// reason in one word. It ends at r's deadline, and at once when ctx ends.
func (b *Bus) Read(ctx context.Context, r Request) (Answer, error) {
	data, err := b.read(ctx, r)
	if err != nil {
		b.wire.facts.Faults[ReasonOf(err)]++
		return Answer{}, &RangeError{Unit: r.Unit, Table: r.Table, First: r.First, Count: r.Count, Err: err}
	}
	a := Answer{Requested: b.wire.requested(), FirstByte: b.wire.firstByte}
	a.decode(r, data)
	return a, nil
}

func (b *Bus) read(ctx context.Context, r Request) ([]byte, error) {
	if err := r.check(b.settings.Kind); err != nil {
		return nil, wrapFault(Invalid, "not asked", err)
	}
	u, err := b.begin(ctx, r)
	if err != nil {
		return nil, err
	}
	data, err := u.read(r)
	return data, b.end(u, err)
}

// Settle waits until the line may be used again after a fault, and opens it if
// it is closed. It gives up after two late limits, for a line that is never
// silent. Read does the same within its own deadline; an owner that calls
// Settle after a failed Read spares the next Read the wait.
func (b *Bus) Settle(ctx context.Context) error {
	patience := 2*max(b.settings.LateLimit, b.wire.line.silence) + b.settings.timeout(Request{Table: HoldingRegisters})
	b.wire.begin(ctx, &b.nobody, time.Now(), patience, 0)
	return b.wire.ready()
}

// begin starts a transaction with a unit unless it is not to be asked now.
func (b *Bus) begin(ctx context.Context, r Request) (*unit, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	u, now := b.unit(r.Unit), time.Now()
	if wait := u.health.wait(now); wait > 0 {
		return nil, faultf(BackingOff, "no answer %d times; next try in %v", u.health.failures, wait.Round(time.Millisecond))
	}
	b.wire.begin(ctx, u, now, b.settings.timeout(r), b.settings.WireTime(r.Table, int(r.Count)))
	return u, nil
}

// end draws the consequences of a transaction for its unit.
func (b *Bus) end(u *unit, err error) error {
	b.wire.facts.Busy += time.Since(b.wire.began)
	var refused *gomodbus.ModbusError
	if err != nil && errors.As(err, &refused) {
		err = Exception(refused.ExceptionCode)
	}
	switch {
	case err == nil || ReasonOf(err) == Refused:
		b.answered(u)
	case b.wire.sent && ReasonOf(err) != Cancelled:
		u.health.failed(time.Now(), &b.pace, u.tolerated())
	}
	return err
}

// answered notes an answer of the unit itself.
func (b *Bus) answered(u *unit) {
	turnaround := b.wire.firstByte.Sub(b.wire.requested())
	b.wire.facts.LastTurnaround = turnaround
	u.late.seen(turnaround)
	u.health.succeeded()
}

func (b *Bus) unit(id byte) *unit {
	if b.units[id] == nil {
		p := b.wire.framing.packager(id)
		b.units[id] = &unit{id: id, packager: p, client: gomodbus.NewClient2(p, &b.wire)}
	}
	return b.units[id]
}

func (u *unit) read(r Request) ([]byte, error) {
	switch r.Table {
	case Coils:
		return u.client.ReadCoils(r.First, r.Count)
	case DiscreteInputs:
		return u.client.ReadDiscreteInputs(r.First, r.Count)
	case HoldingRegisters:
		return u.client.ReadHoldingRegisters(r.First, r.Count)
	}
	return u.client.ReadInputRegisters(r.First, r.Count)
}

// tolerated is how many failures in a row cost a unit no pause: two for one
// that has answered before, none for one that may not exist.
func (u *unit) tolerated() int {
	if u.late.answers > 0 {
		return 2
	}
	return 0
}
