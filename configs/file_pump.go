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
	Cylinder1       string                        `yaml:"cylinder_1" doc:"Which cylinder is number one, in words, such as: nearest the coupling."`
	Pulses          int                           `yaml:"pulses_per_revolution" default:"1" doc:"Index pulses in one revolution of the pump shaft."`
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
	TotaliserRolls quantity.CubicMeters          `yaml:"totaliser_rolls_over" doc:"The reading at which the glycol meter's totaliser starts again from zero. Left out: what its register holds."`
	Efficiency     quantity.Ratio                `yaml:"volumetric_efficiency" default:"90 %" doc:"Used for pumped volume only when nothing measures flow (common practice for a small pump at 70 bar)."`
}

type witnessFile struct {
	Power  quantity.Watts                `yaml:"power" doc:"Motor power."`
	Ripple quantity.Pascals              `yaml:"ripple" doc:"Swing of the discharge pressure."`
	Flow   quantity.CubicMetersPerSecond `yaml:"flow" doc:"Glycol flow."`
}

type hourMeterFile struct {
	Counts     string        `yaml:"counts" default:"learn" words:"run power_on learn" doc:"What the meter counts; learn watches whether it ticks while the pump stands."`
	Resolution time.Duration `yaml:"resolution" doc:"Its smallest step. Left out: one count of its register."`
	Rollover   time.Duration `yaml:"rollover" doc:"The reading at which it starts again from zero, such as 65536 h. Left out: what its register holds."`
}

type serviceFile struct {
	Task     string         `yaml:"task" need:"a short name, such as oil, valves, diaphragms, shaft_seal" doc:"Short name."`
	Title    string         `yaml:"title" doc:"What people call it."`
	RunHours time.Duration  `yaml:"run_hours" doc:"Interval in run time of the pump."`
	FirstRun time.Duration  `yaml:"first_run_hours" doc:"First interval of a new pump, such as 500 h for the run-in change of oil (common practice)."`
	Strokes  float64        `yaml:"strokes_per_plunger" doc:"Interval in strokes per plunger, which is pump revolutions."`
	Calendar time.Duration  `yaml:"calendar" doc:"Interval on the wall calendar, such as 365 d."`
	DueSoon  quantity.Ratio `yaml:"due_soon" default:"90 %" doc:"Share of life used at which it is due soon."`
	Overdue  quantity.Ratio `yaml:"overdue" default:"110 %" doc:"Share at which it is overdue."`
	Parts    string         `yaml:"parts" doc:"What to bring, in your words: kit, part numbers, oil grade and litres."`

	_ struct{} `yaml:"strokes" refuse:"bare strokes"`
}
