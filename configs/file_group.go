package configs

import (
	"time"

	"pumpside/drivers/quantity"
)

type groupFile struct {
	ID       string                          `yaml:"id" need:"a short name for this group, such as north" doc:"Short name in topics and in front of the group's alarms."`
	Title    string                          `yaml:"title" doc:"The name people use. Left out: the id."`
	Pumps    []string                        `yaml:"pumps" need:"list the ids of its pumps; a single one may be a group too" doc:"The ids of its pumps. A pump is in one group at most."`
	Required int                             `yaml:"required_running" default:"1" doc:"How many must deliver while glycol is wanted."`
	Signals  map[string]string               `yaml:"signals" doc:"Role: device.point, for what the pumps share: header pressure, one flow meter, gas. A pump's own point goes before."`
	NoFlow   quantity.CubicMetersPerSecond   `yaml:"no_flow_below" default:"0.2 L/min" doc:"Less through the shared meter is no flow."`
	Target   quantity.CubicMetersPerSecond   `yaml:"circulation" doc:"The glycol circulation the gas needs. Left out: not judged."`
	WaterOut quantity.KilogramsPerCubicMeter `yaml:"gas_water_out" doc:"The water that may be left in the gas, per standard volume, such as 110 mg/m³ (7 lb in a million standard cubic feet). With gas_flow, gas_temperature and gas_pressure or contactor_pressure among its signals the circulation needed is worked out from the gas, taken as saturated. Left out: it is not."`
	Ratio    quantity.CubicMeters            `yaml:"glycol_per_kilogram" default:"25 L" doc:"Glycol for each kilogram of water to be taken out; 17 to 42 L are usual (2 to 5 gallons a pound)."`
	Pause    time.Duration                   `yaml:"pause" doc:"How long glycol may rest while gas flows and no run_demand asks for it, as in batch control. Left out: 30 min where the demands are off, none where there are no demands."`
	Exercise time.Duration                   `yaml:"exercise_every" default:"30 d" doc:"A standby that was stopped for longer without a run is told (common practice); 0 s: it is not."`
	Change   time.Duration                   `yaml:"change_over_every" default:"0 s" doc:"How often duty is handed over, so that uneven hours are told; 0 s: it is not."`
}
