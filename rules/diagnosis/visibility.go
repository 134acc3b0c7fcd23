package diagnosis

import (
	"fmt"
	"math"
	"math/cmplx"
	"time"

	"pumpside/drivers/quantity"
	"pumpside/rules/hydraulics"
	"pumpside/rules/orders"
	"pumpside/rules/pump"
)

// An Installation is what a site has to see a pump with, as its configuration
// says.
type Installation struct {
	Geometry pump.Geometry
	Speed    quantity.RevolutionsPerMinute // of the shaft; 0: the rated one

	Pressure     bool        // a discharge pressure of this pump alone
	Path         orders.Path // what damps it, as far as known
	DampingKnown bool
	Update       time.Duration    // between two new values; 0: at every poll
	Resolution   quantity.Pascals // one count; 0: not known
	Noise        quantity.Pascals // standard deviation of a sample; 0: a thousandth of the rated pressure
	Poll         time.Duration    // between two polls in a fast window; 0: none
	Share        float64          // of the time that fast windows take, 0 to 1
	StampError   time.Duration    // of a poll's time, standard deviation

	Flow, Suction, Torque, OilTemperature, Bypass bool
}

// A Sight is whether one kind of failure can be seen, and down to what size.
type Sight struct {
	Failure string
	Seen    bool
	// Least is the smallest size found in half an hour, as a share of what
	// Of says; 0 where no number can be given.
	Least float64
	Of    string
	// Advice is the cheapest thing that would show more, "" for nothing.
	Advice string
}

// FirstOrder is what a 5 % leak of one head puts into the pressure at once per
// turn, as the transmitter shows it. The line is not known before a ramp has
// been seen: 20 m of it are taken, an inertance (common practice, no source).
func (in *Installation) FirstOrder() quantity.Pascals {
	const density, length, bore = 1080.0, 20.0, 0.025 // kg/m³, m, m
	hertz := in.hertz()
	leak := 0.05 * float64(hydraulics.TheoreticalFlow(in.Geometry, in.speed())) / float64(in.Geometry.Cylinders)
	inertance := density * length / (math.Pi / 4 * bore * bore)
	return quantity.Pascals(2 / math.Pi * leak * 2 * math.Pi * hertz * inertance * in.left())
}

func (in *Installation) speed() quantity.RevolutionsPerMinute {
	if in.Speed > 0 {
		return in.Speed
	}
	return in.Geometry.RatedSpeed
}

func (in *Installation) hertz() float64 { return float64(in.speed()) / 60 }

// left is what the transmitter leaves of once per turn. Unknown damping is
// taken for the 0.4 s that transmitters are delivered with (common practice,
// no source).
func (in *Installation) left() float64 {
	path := in.Path
	if !in.DampingKnown {
		path.Lags[0] = math.Max(path.Lags[0], 0.4)
	}
	return cmplx.Abs(path.Response(in.hertz()))
}

// LeastLeak is the smallest leak of one head that half an hour shows, as a
// share of its flow: six standard errors of the difference between two means of
// all samples, which have the noise, a count's rounding and what late stamps
// make of the ripple. It is +Inf where nothing can be seen.
func (in *Installation) LeastLeak() float64 {
	if !in.Pressure || in.Poll <= 0 || in.Share <= 0 {
		return math.Inf(1)
	}
	interval := max(in.Poll, in.Update)
	samples := in.Share * (30 * time.Minute).Seconds() / interval.Seconds()
	noise := float64(in.Noise)
	if noise == 0 {
		noise = float64(in.Geometry.RatedPressure) / 1000
	}
	count := float64(in.Resolution) / math.Sqrt(12)
	ripple := 20 * float64(in.FirstOrder()) // a third order is some twenty times a 5 % leak
	late := ripple * 2 * math.Pi * 3 * in.hertz() * in.StampError.Seconds() / math.Sqrt2
	sigma := math.Sqrt((noise*noise + count*count + late*late) * 2 / samples)
	return 0.05 * 6 * math.Sqrt2 * sigma / float64(in.FirstOrder())
}

// cheapest is the setting to change first so that more of a ripple is seen.
func (in *Installation) cheapest() string {
	switch {
	case !in.Pressure:
		return "map a discharge pressure that no other pump works on"
	case !in.DampingKnown:
		return "look up the transmitter's damping and state it; until then it is assumed to hide the ripple"
	case in.Path.Lags[0] > 0.1:
		return fmt.Sprintf("set the transmitter's damping from %.2g s to 0 to 0.1 s", in.Path.Lags[0])
	case in.Path.Lags[1] > 0.1:
		return "open or remove the snubber before the transmitter"
	case in.Update.Seconds()*in.hertz() > 0.25:
		return fmt.Sprintf("the device renews its value every %v, too seldom for %.1f turns a second: use a quicker input", in.Update, in.hertz())
	case in.Poll <= 0 || in.Share <= 0:
		return "give the pressure the read class fast, with fast windows"
	case in.Poll.Seconds()*in.hertz() > 0.5:
		return "poll the pressure faster"
	case in.Resolution > 0 && in.Resolution > in.FirstOrder():
		return "use an input with finer resolution"
	case in.Share < 0.05:
		return "make fast windows longer or more frequent"
	}
	return ""
}

// Sights lists each kind of failure with what the installation shows of it.
func (in *Installation) Sights() []Sight {
	least := in.LeastLeak()
	list := []Sight{{Failure: "check valve, plunger seal or oil cell relief of one head", Of: "that head's flow", Seen: least <= 0.5, Advice: in.cheapest()}}
	if list[0].Seen {
		list[0].Least = least
	}
	model := Model{Geometry: in.Geometry, Line: new(Line)}
	_, why := model.Nameable(in.speed())
	if in.Geometry.NamesCylinders() && list[0].Seen {
		why = "a start or a speed ramp polled fast, so that the line is known"
	}
	list = append(list, Sight{Failure: "which head, and which half of its stroke", Seen: list[0].Seen && in.Geometry.NamesCylinders(), Advice: why})
	flow := func(name string) Sight {
		s := Sight{Failure: name, Seen: in.Flow, Of: "all flow"}
		if s.Least = 0.02; !in.Flow {
			s.Least, s.Advice = 0, "map a flow meter"
		}
		return s
	}
	list = append(list, flow("even wear of all heads, bypass or relief passing"))
	dampener := Sight{Failure: "dampener charge lost or too high", Seen: list[0].Seen, Advice: in.cheapest()}
	starved := Sight{Failure: "suction starved: strainer, cold glycol, low tank", Seen: in.Suction || in.Flow}
	if !in.Suction {
		starved.Advice = "map a suction pressure: with a flow meter alone it cannot be told from wear"
	}
	relief := Sight{Failure: "relief valve of an oil cell, told from a check valve", Seen: list[0].Seen && in.OilTemperature}
	if !in.OilTemperature {
		relief.Advice = "map the hydraulic oil's temperature"
	}
	reversed := Sight{Failure: "reversed rotation", Advice: "no signal shows it: confirm rotation at the pump after electrical work"}
	return append(list, dampener, starved, relief, reversed)
}
