package simulator

import (
	"time"

	"pumpside/drivers/quantity"
)

// A Unit answers for one unit id of a bus. The Server calls it from several
// goroutines.
type Unit interface {
	// Read fills dst with the registers from first on, or with 0 and 1 for
	// bits, as they are at an instant since the start. False means that some
	// address is not there; dst is then undefined.
	Read(at time.Duration, table Table, first uint16, dst []uint16) bool
	// Manner is how the unit behaves at that instant.
	Manner(at time.Duration) Manner
	// Identification is object id 0, 1 or 2 of function 43/14: vendor name,
	// product code, revision.
	Identification(object byte) string
}

// A Manner is how a device behaves on the bus. The zero Manner is well.
type Manner struct {
	Silent bool          // does not answer
	Late   time.Duration // before each answer
	Refuse byte          // exception code of each answer; 0 answers properly
}

// A Moved unit has each register By addresses further than the one it stands
// for, and nothing before: a device whose map one does not know.
type Moved struct {
	Unit
	By uint16
}

// Read implements [Unit].
func (m Moved) Read(at time.Duration, table Table, first uint16, dst []uint16) bool {
	return first >= m.By && m.Unit.Read(at, table, first-m.By, dst)
}

// Unit is one device of the skid.
func (k *Skid) Unit(d Device) Unit { return part{k, []Device{d}} }

// Whole is both devices of the skid on one unit id. It is silent, late or
// refusing when the drive is.
func (k *Skid) Whole() Unit { return part{k, []Device{Drive, Instruments}} }

type part struct {
	skid    *Skid
	devices []Device
}

func (p part) has(d Device) bool { return d == p.devices[0] || d == p.devices[len(p.devices)-1] }

func (p part) Read(at time.Duration, table Table, first uint16, dst []uint16) bool {
	slots := plan[table]
	if int(first)+len(dst) > len(slots) {
		return false
	}
	slots = slots[first : int(first)+len(dst)]
	for _, s := range slots {
		if s.row < 0 || !p.has(registers[s.row].Device) {
			return false
		}
	}
	k := p.skid
	k.mu.Lock()
	defer k.mu.Unlock()
	k.advance(at)
	at = max(at, k.now()) // an instant that is past shows the present
	var raw uint32
	for i, s := range slots {
		r := &registers[s.row]
		if i == 0 || s.word == 0 {
			raw = k.raw(r, at)
		}
		dst[i] = r.word(raw, s.word)
	}
	return true
}

func (p part) Manner(at time.Duration) Manner {
	k := p.skid
	k.mu.Lock()
	defer k.mu.Unlock()
	k.advance(at)
	return k.manner[p.devices[0]]
}

func (p part) Identification(object byte) string {
	switch {
	case object == 0:
		return "pumpside simulator"
	case object == 1:
		return p.devices[0].String()
	}
	return "1.0"
}

// Pressures are the discharge and suction pressure at an instant before any
// transmitter's noise, steps and refresh, but after its damping.
func (k *Skid) Pressures(at time.Duration) (discharge, suction quantity.Pascals) {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.advance(at)
	at = max(at, k.now())
	return quantity.Pascals(k.pressure(dischargePressure, at)), quantity.Pascals(k.pressure(suctionPressure, at))
}

// Shaft is the true angle of the pump shaft at an instant, in turns since the
// start: whole where cylinder 1 starts its discharge stroke.
func (k *Skid) Shaft(at time.Duration) float64 {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.advance(at)
	return k.shaftAt(max(at, k.now()))
}

// Value is a signal as its register shows it at an instant, scaled into the
// register's unit; false when there is no such signal.
func (k *Skid) Value(signal string, at time.Duration) (float64, bool) {
	id := signalNamed(signal)
	if id == noSignal {
		return 0, false
	}
	k.mu.Lock()
	defer k.mu.Unlock()
	k.advance(at)
	r := &registers[rows[id]]
	return r.Decode(k.raw(r, max(at, k.now()))), true
}
