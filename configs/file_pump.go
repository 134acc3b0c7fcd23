package configs

import (
	"time"

	"pumpside/drivers/quantity"
)

type pumpFile struct {
	ID              string                        `yaml:"id" need:"a short name for this pump" doc:"Short name in topics and labels."`
	Tag             string                        `yaml:"tag" doc:"Tag as painted on the pump. Left out: the id."`
	Location        string                        `yaml:"location" doc:"Where on the site."`
	Hazards         []string                      `yaml:"hazards" doc:"Hazards of this pump beside the site's."`
	Mechanism       mechanismFile                 `yaml:"mechanism" need:"say how the plungers are moved: {crank: {rod_ratio: 5, discharge: away}} or {sine: true}; there is no safe default" doc:"What moves the plungers."`
	Cylinders       int                           `yaml:"cylinders" default:"3" doc:"Number of cylinders (heads)."`
	Bore            quantity.Meters               `yaml:"bore" need:"plunger diameter, such as 40 mm" doc:"Plunger diameter."`
	Stroke          quantity.Meters               `yaml:"stroke" need:"plunger stroke, such as 30 mm" doc:"Plunger stroke."`
	DeadVolume      deadVolumeFile                `yaml:"dead_volume" doc:"Volume per cylinder that is compressed but not displaced."`
	Ratio           float64                       `yaml:"ratio" need:"motor revolutions for one pump revolution, 1 when coupled directly" doc:"Motor revolutions for one pump revolution (gear or belt)."`
	Transmission    string                        `yaml:"transmission" default:"gear" words:"direct gear belt" doc:"What is between motor and pump. Gears do not slip, belts do."`
	Motor           motorFile                     `yaml:"motor" doc:"From the motor's rating plate."`
	RatedSpeed      quantity.RevolutionsPerMinute `yaml:"rated_speed" need:"highest speed of the pump shaft, such as 400 rpm" doc:"Highest continuous speed of the pump shaft, by its maker."`
	RatedPressure   quantity.Pascals              `yaml:"rated_pressure" need:"highest discharge pressure, such as 10 MPa" doc:"Highest continuous discharge pressure, by its maker."`
	Suction         suctionFile                   `yaml:"suction" doc:"What the liquid needs before the pump, for the NPSH margin."`
	Cylinder1       string                        `yaml:"cylinder_1" doc:"Which cylinder is number one, in words, such as: nearest the coupling."`
	Pulses          int                           `yaml:"pulses_per_revolution" default:"1" doc:"Index pulses in one revolution of the pump shaft. Only exactly one tells the angle; several tell speed and revolutions, and no finding can name a cylinder."`
	IndexAngle      string                        `yaml:"index_angle" doc:"Shaft angle at the pulse, such as 0 deg when it comes as cylinder 1 starts to discharge. Left out: not known."`
	DoubleDiaphragm bool                          `yaml:"double_diaphragm" default:"false" doc:"Two diaphragms with leak detection between them: the first that fails is an advisory, not an alarm."`
	Opening         openingFile                   `yaml:"opening" doc:"For a pump that is not new: its totals when the agent first saw it."`
	Signals         map[string]string             `yaml:"signals" need:"map roles to points, such as {motor_speed: drive-1.speed}" doc:"Role: device.point."`
	Auxiliary       []auxiliaryFile               `yaml:"auxiliary" doc:"The site's own signals, with limits."`
	DriveFaults     driveFaultsFile               `yaml:"drive_faults" doc:"What the drive's fault codes mean."`
	Counting        countingFile                  `yaml:"counting" doc:"What counts as running."`
	Judging         judgingFile                   `yaml:"judging" doc:"Thresholds of the alarms every pump has."`
	Limits          map[string]limitFile          `yaml:"limits" doc:"Role: limits."`
	Alarms          map[string]alarmFile          `yaml:"alarms" doc:"Changes to alarms of this pump, by name."`
	Services        []serviceFile                 `yaml:"services" doc:"Service tasks and their intervals."`
	Kits            []kitFile                     `yaml:"kits" doc:"Kits of parts for this pump."`
	Visit           visitFile                     `yaml:"visit" doc:"What a visit sheet says besides the parts."`
}

type suctionFile struct {
	Required   quantity.Meters  `yaml:"required_head" doc:"Net positive suction head the pump requires at rated speed, by its maker, such as 3 m. Left out: no margin is told."`
	Length     quantity.Meters  `yaml:"line_length" doc:"Length of the pipe from the vessel to the pump. Left out, as behind a suction dampener: no acceleration head is taken off."`
	Bore       quantity.Meters  `yaml:"line_bore" doc:"Inner diameter of that pipe."`
	Atmosphere quantity.Pascals `yaml:"atmosphere" default:"101.3 kPa" doc:"Absolute pressure of the air at the site; about 12 kPa less for each 1000 m of altitude."`
	Water      quantity.Ratio   `yaml:"water" default:"1 %" doc:"Water in the glycol that is pumped, by mass: its vapour is what flashes."`
}

type mechanismFile struct {
	Crank *crankFile `yaml:"crank" doc:"Slider-crank."`
	Sine  bool       `yaml:"sine" doc:"Wobble or swash plate: pure sine."`
}

type crankFile struct {
	RodRatio  float64 `yaml:"rod_ratio" need:"connecting rod length divided by crank radius, such as 5" doc:"Rod length divided by crank radius."`
	Discharge string  `yaml:"discharge" need:"away or towards: which way the plunger goes when it discharges, seen from the crank" words:"away towards" doc:"Direction of the discharge stroke seen from the crank."`
}

type deadVolumeFile struct {
	Oil    quantity.CubicMeters `yaml:"oil" doc:"Drive oil, per cylinder."`
	Liquid quantity.CubicMeters `yaml:"liquid" doc:"Glycol, per cylinder."`
}

type motorFile struct {
	Poles      int                           `yaml:"poles" default:"4" doc:"Number of poles."`
	RatedSpeed quantity.RevolutionsPerMinute `yaml:"rated_speed" need:"from the motor's plate, such as 1460 rpm" doc:"Rated speed."`
}

type openingFile struct {
	RunHours time.Duration        `yaml:"run_hours" doc:"Run time, such as 12400 h."`
	Strokes  float64              `yaml:"strokes_per_plunger" doc:"Strokes per plunger, which is pump revolutions."`
	Starts   int                  `yaml:"starts" doc:"Starts."`
	Pumped   quantity.CubicMeters `yaml:"pumped" doc:"Volume pumped."`
	Energy   quantity.Joules      `yaml:"energy" doc:"Energy used by the motor."`

	_ struct{} `yaml:"strokes" refuse:"bare strokes"`
}

type auxiliaryFile struct {
	Name   string    `yaml:"name" need:"a short name" doc:"Short name."`
	Title  string    `yaml:"title" doc:"What people call it."`
	Point  string    `yaml:"point" need:"device.point" doc:"The point that measures it."`
	Limits limitFile `yaml:"limits" doc:"Limits."`
}

type driveFaultsFile struct {
	Standard bool              `yaml:"standard" default:"false" doc:"The codes are those of IEC 61800-7-201 (object 603Fh), so that they can be put into words."`
	Words    map[string]string `yaml:"words" doc:"The maker's own codes in words, from the drive's manual."`
}

type countingFile struct {
	RunningSpeed   quantity.RevolutionsPerMinute `yaml:"running_speed" default:"50 rpm" doc:"Motor speed above which the drive is believed to turn the pump."`
	MaxGap         time.Duration                 `yaml:"max_gap" default:"10 s" doc:"Run time adds between two good readings no further apart than this."`
	Witness        witnessFile                   `yaml:"witness" doc:"The second witness of running: above which value the signal speaks for running."`
	HourMeter      hourMeterFile                 `yaml:"hour_meter" doc:"The drive's own hour meter."`
	Switched       bool                          `yaml:"switched_drive" default:"false" doc:"One drive serves several motors in turn: contactor_auxiliary tells when it is this pump's, and its hour meter is not used."`
	TotaliserRolls quantity.CubicMeters          `yaml:"totaliser_rolls_over" doc:"The reading at which the glycol meter's totaliser starts again from zero. Left out: what its register holds."`
	Efficiency     quantity.Ratio                `yaml:"volumetric_efficiency" default:"90 %" doc:"Used for pumped volume only when nothing measures flow (common practice for a small pump at 70 bar)."`
}

type witnessFile struct {
	Power  quantity.Watts                `yaml:"power" doc:"Motor power."`
	Ripple quantity.Pascals              `yaml:"ripple" doc:"Swing of the discharge pressure."`
	Flow   quantity.CubicMetersPerSecond `yaml:"flow" doc:"Glycol flow."`
}

type hourMeterFile struct {
	Counts     string        `yaml:"counts" default:"learn" words:"run power_on learn" doc:"What the meter counts; learn watches whether it ticks while the pump is stopped."`
	Resolution time.Duration `yaml:"resolution" doc:"Its smallest step. Left out: one count of its register."`
	Rollover   time.Duration `yaml:"rollover" doc:"The reading at which it starts again from zero, such as 65536 h. Left out: what its register holds."`
}

type serviceFile struct {
	Task     string               `yaml:"task" need:"a short name, such as oil, valves, diaphragms, shaft_seal" doc:"Short name."`
	Kind     string               `yaml:"kind" words:"oil valves diaphragms shaft_seal plunger_seals o_rings strainer filter dampener_charge relief_test glycol_sample standby_exercise own" doc:"Kind of work. Left out: that of the same name, oil for run_in_oil_change, else the site's own."`
	Per      string               `yaml:"per" words:"pump cylinder valve" doc:"Whether one life is counted for the pump, or one per cylinder or check valve. Left out: valves per valve, diaphragms and plunger seals per cylinder, all else per pump."`
	Title    string               `yaml:"title" doc:"What people call it."`
	RunHours time.Duration        `yaml:"run_hours" doc:"Interval in run time of the pump."`
	FirstRun time.Duration        `yaml:"first_run_hours" doc:"First interval of a new pump and after a repair of the hydraulic end, such as 500 h for the run-in change of oil (common practice)."`
	Strokes  float64              `yaml:"strokes_per_plunger" doc:"Interval in strokes per plunger, which is pump revolutions."`
	Calendar time.Duration        `yaml:"calendar" doc:"Interval on the wall calendar, such as 365 d."`
	Table    []rowFile            `yaml:"table" doc:"Intervals in run time by how the pump runs; the first row that fits counts, time in each row adds up."`
	Warm     warmFile             `yaml:"oil_temperature" doc:"Weights run_hours by oil temperature: hot oil ages faster."`
	Pressure wearFile             `yaml:"pressure" doc:"Weights strokes_per_plunger by discharge pressure."`
	DueSoon  quantity.Ratio       `yaml:"due_soon" default:"90 %" doc:"Share of life used at which it is due soon."`
	Overdue  quantity.Ratio       `yaml:"overdue" default:"110 %" doc:"Share at which it is overdue."`
	Parts    string               `yaml:"parts" doc:"What to bring, in your words: kit, part numbers, oil grade and litres."`
	Oil      quantity.CubicMeters `yaml:"oil_volume" doc:"Oil of one filling."`
	Work     time.Duration        `yaml:"work" doc:"How long the work takes. Left out: by kind."`

	_ struct{} `yaml:"strokes" refuse:"bare strokes"`
}

type rowFile struct {
	Speed    quantity.RevolutionsPerMinute `yaml:"speed" doc:"Pump speed up to this. Left out: any."`
	Pressure quantity.Pascals              `yaml:"pressure" doc:"Discharge pressure up to this. Left out: any."`
	Oil      quantity.Celsius              `yaml:"oil_temperature" doc:"Oil temperature up to this. Left out: any."`
	RunHours time.Duration                 `yaml:"run_hours" need:"the interval under these conditions, such as 4000 h" doc:"Interval under these conditions."`
}

type warmFile struct {
	Base    quantity.Celsius `yaml:"base" doc:"Temperature up to which an hour counts as one, such as 70 °C; authors differ from 60 to 80 °C."`
	Doubles quantity.Celsius `yaml:"doubles_every" default:"10 °C" doc:"Each such step above base doubles what an hour counts."`
}

type wearFile struct {
	Reference quantity.Pascals `yaml:"reference" doc:"Pressure for which the interval holds."`
	Exponent  float64          `yaml:"exponent" default:"1" doc:"A stroke counts (pressure ÷ reference) to this power: 1 where wear goes with load, about 3 where fatigue rules."`
}

type kitFile struct {
	Name        string     `yaml:"name" need:"what the kit is called, such as check valve kit" doc:"Name."`
	Number      string     `yaml:"number" doc:"Order number."`
	Renews      []string   `yaml:"renews" need:"the components it is for, such as [suction_valve, discharge_valve]" doc:"Components it renews."`
	PerCylinder bool       `yaml:"per_cylinder" default:"false" doc:"One kit serves one cylinder; else the pump."`
	Contents    []itemFile `yaml:"contents" doc:"What is in it."`
}

type itemFile struct {
	Item     string  `yaml:"item" need:"what it is" doc:"What it is."`
	Number   string  `yaml:"number" doc:"Order number."`
	Quantity float64 `yaml:"quantity" default:"1" doc:"How many, or how much of the unit."`
	Unit     string  `yaml:"unit" doc:"Unit; left out: pieces."`
}

type visitFile struct {
	Tools   []string       `yaml:"tools" doc:"Tools and consumables to bring."`
	Oil     string         `yaml:"oil_grade" doc:"Oil of the hydraulic end, by the maker."`
	Manual  string         `yaml:"manual" doc:"The maker's manual that governs, with its edition."`
	Waste   quantity.Ratio `yaml:"most_life_left" default:"25 %" doc:"Share of its life that a part may still have when it is changed on a visit made for something else."`
	Figures []figureFile   `yaml:"figures" doc:"Torques, clearances and charge pressures of this pump, from the maker's manual; the agent has none of its own."`
}

type figureFile struct {
	What  string `yaml:"what" need:"what it is of, such as valve cap" doc:"What it is of."`
	Value string `yaml:"value" need:"as the manual says it, with its unit" doc:"As the manual says it."`
	Page  string `yaml:"page" need:"the page of the manual" doc:"Page of the manual."`
}
