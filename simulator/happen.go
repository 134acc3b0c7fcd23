package simulator

import (
	"math"
	"time"
)

// happen carries out an event.
func (k *Skid) happen(e Event, now time.Duration) {
	d := &k.drive
	switch {
	case e.Do.ofInstrument():
		id := signalNamed(e.Signal)
		if e.Do == Frozen {
			k.probe[id].held = k.fresh(&registers[rows[id]], now)
		}
		k.probe[id].set(e, now)
		return
	case e.Do.IsFault():
		k.faults.set(e, now)
		k.flow.stale = true
		if k.full != nil {
			k.full.stale = true
		}
		k.reversed = k.faults.size[Reversed] >= 0.5
		return
	}
	switch e.Do {
	case Start:
		d.command = true
	case Stop:
		d.command = false
	case DriveTrip:
		d.trip(uint16(math.Max(1, e.Size)))
	case DriveReset:
		d.reset()
	case SetSpeed:
		d.target = k.motorTarget(e.Size)
	case AcrossTheLine:
		d.bypass = e.Size >= 0.5
	case DemandOn:
		k.demand = true
	case DemandOff:
		k.demand = false
	case Selector:
		k.selected = e.Size
	case Permissive:
		k.permitted = e.Size >= 0.5
	case MeterReplaced:
		d.runHours, d.onHours, d.energy = 0, 0, 0
	case DeviceSilent:
		k.manner[e.Device] = Manner{Silent: true}
	case DeviceLate:
		k.manner[e.Device] = Manner{Late: time.Duration(e.Size * float64(time.Second))}
	case DeviceRefusing:
		code := byte(e.Size)
		if code == 0 {
			code = serverFailure
		}
		k.manner[e.Device] = Manner{Refuse: code}
	case DeviceAnswering:
		k.manner[e.Device] = Manner{}
	}
}
