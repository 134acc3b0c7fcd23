package simulator

import "math"

// A head is one cylinder as built and as it is now. Volumes are over the
// displacement of a plunger as drawn, leaks over the mean flow of one healthy
// cylinder at rated speed.
type head struct {
	displacement float64 // 1 as drawn
	dead         float64 // glycol left at the end of discharge
	oil          float64
	gas          float64 // at atmospheric pressure

	suctionLeak   float64 // orifice: at full difference
	dischargeLeak float64
	bypassLeak    float64 // past the discharge seat, linear in pressure
	plungerLeak   float64 // to the sump, linear in pressure, at 60 °C oil
	relief        float64 // to the sump, at rated pressure
	makeUp        float64 // part of the stroke lost at 60 °C oil

	suctionLazy, dischargeLazy   float64
	suctionStuck, dischargeStuck float64
}

// built draws the three heads of a new pump.
func built(s *Settings) (heads [Cylinders]head) {
	for j := range heads {
		spread := func(stream uint64) float64 { return 2*uniform(s.Seed, stream, int64(j)) - 1 }
		opening := float64(s.Scatter.Opening) * spread(streamOpening)
		heads[j] = head{
			displacement: 1 + float64(s.Scatter.Displacement)*spread(streamDisplacement),
			dead:         float64(s.Machine.DeadVolume) * (1 + float64(s.Scatter.DeadVolume)*spread(streamDeadVolume)),
			oil:          float64(s.Machine.OilVolume),
			gas:          math.Max(0, float64(s.OilAir)+opening),
			plungerLeak:  float64(s.PlungerLeak),
		}
	}
	return heads
}

// worn is head j with its faults.
func (f *faults) worn(h head, j int) head {
	h.displacement *= 1 - f.head[SmallHead][j]
	h.gas += f.head[GassyHead][j] + f.size[OilAerated] + lowSumpAir*f.air
	h.suctionLeak += f.head[SuctionValveLeak][j] + f.head[SuctionDebris][j]*f.debris(j) + f.size[AllValvesWorn]
	h.dischargeLeak += f.head[DischargeValveLeak][j] + f.head[DischargeDebris][j]*f.debris(Cylinders+j) + f.size[AllValvesWorn]
	h.bypassLeak += f.head[SeatBypass][j]
	h.plungerLeak += f.head[PlungerLeak][j]
	h.relief += f.head[OilCellRelief][j]
	h.makeUp += f.head[MakeUpStuck][j]
	h.suctionLazy, h.dischargeLazy = f.head[SuctionLazy][j], f.head[DischargeLazy][j]
	h.suctionStuck, h.dischargeStuck = f.head[SuctionStuck][j], f.head[DischargeStuck][j]
	h.gas += foamGas * math.Max(f.size[Foam], 2*f.size[TankLow]-1) * f.foam
	return h
}

// Gas at atmospheric pressure over a plunger's displacement, at size 1.
const (
	foamGas    = 1.0
	lowSumpAir = 0.3
)
