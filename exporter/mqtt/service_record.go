package mqtt

import (
	"cmp"

	"pumpside/drivers"
)

// A RecordPayload is one line of the service ledger, whole: what a person said
// was done, and what the agent knew then.
type RecordPayload struct {
	Number    int     `json:"number"`     // counts per pump, from 1
	EnteredAt *string `json:"entered_at"` // when it was recorded
	EnteredBy string  `json:"entered_by"`
	DoneAt    *string `json:"done_at"` // when the work was done
	DoneBy    string  `json:"done_by"`
	Undoes    *int    `json:"undoes"` // the number of the record that this one cancels

	Task             *string       `json:"task"`
	Reason           *string       `json:"reason"`
	Action           *string       `json:"action"`
	Cylinder         *int          `json:"cylinder"` // null: all
	Side             *string       `json:"side"`     // null: both
	SwappedWith      *PlacePointer `json:"swapped_with"`
	Found            *string       `json:"found"`
	FailureMode      *string       `json:"failure_mode"`      // ISO 14224
	FailureMechanism *string       `json:"failure_mechanism"` // ISO 14224 Table B.2

	RunH      *float64 `json:"run_h"` // of the pump, at the time of the work
	Strokes   *float64 `json:"strokes_per_plunger"`
	Counted   *string  `json:"counted"` // counters, history, told
	PanelH    *float64 `json:"panel_h"` // as read
	Disputed  *string  `json:"disputed"`
	Estimated *string  `json:"estimated"`

	OilAddedL         float64 `json:"oil_added_l"`
	OilChangedL       float64 `json:"oil_changed_l"`
	Order             *string `json:"order"`
	LabourH           float64 `json:"labour_h"`
	DowntimeH         float64 `json:"downtime_h"`
	ElectricalWork    bool    `json:"electrical_work"`
	RotationConfirmed bool    `json:"rotation_confirmed"`
	LineChanged       bool    `json:"line_changed"`
	HydraulicEnd      bool    `json:"hydraulic_end_repaired"`

	Before []RecordReading `json:"readings_before"`
	After  []RecordReading `json:"readings_after"`
	Parts  []RecordPart    `json:"parts"`
	Note   *string         `json:"note"`
}

// A PlacePointer names a cylinder, and a side for a check valve.
type PlacePointer struct {
	Cylinder int     `json:"cylinder"`
	Side     *string `json:"side"`
}

// A RecordReading is something read at the visit.
type RecordReading struct {
	Name  string  `json:"name"`
	Value float64 `json:"value"`
	Unit  *string `json:"unit"`
}

// A RecordPart is a part that went into the pump.
type RecordPart struct {
	Name     string  `json:"name"`
	Number   *string `json:"number"`
	Serial   *string `json:"serial"`
	Batch    *string `json:"batch"`
	Quantity float64 `json:"quantity"`
}

// recordPayload is nil for no record.
func recordPayload(r *drivers.ServiceRecord) *RecordPayload {
	if r == nil {
		return nil
	}
	e := &r.Entry
	p := &RecordPayload{
		Number: r.Number, EnteredAt: moment(r.Entered), EnteredBy: r.User, DoneAt: moment(r.At), DoneBy: r.User, Undoes: counted(e.Undoes),

		Task: text(e.Task), Reason: text(e.Reason), Action: text(e.Action), Cylinder: counted(e.Cylinder), Side: text(e.Side),
		Found: text(e.Found), FailureMode: text(r.Mode), FailureMechanism: text(r.Mechanism),

		RunH: number(r.RunTime.Hours()), Strokes: number(r.Strokes), Counted: text(r.Counted), PanelH: e.PanelHours,
		Disputed: text(r.Disputed), Estimated: text(r.Estimated),

		OilAddedL: e.Added, OilChangedL: e.Filled, Order: text(e.Order), LabourH: e.Labour, DowntimeH: e.Downtime,
		ElectricalWork: e.ElectricalWork, RotationConfirmed: e.RotationConfirmed, LineChanged: e.LineChanged, HydraulicEnd: e.HydraulicEnd,

		Before: recordReadings(e.Before), After: recordReadings(e.After), Parts: make([]RecordPart, len(e.Parts)), Note: text(e.Note),
	}
	if e.By != "" {
		p.DoneBy = e.By
	}
	if o := e.Swapped; o != nil {
		p.SwappedWith = &PlacePointer{o.Cylinder, text(o.Side)}
	}
	for i, part := range e.Parts {
		p.Parts[i] = RecordPart{part.Name, text(part.Number), text(part.Serial), text(part.Batch), cmp.Or(part.Quantity, 1)}
	}
	return p
}

// counted is nil for 0, which stands for none.
func counted(n int) *int {
	if n == 0 {
		return nil
	}
	return &n
}

func recordReadings(list []drivers.ServiceReading) []RecordReading {
	out := make([]RecordReading, len(list))
	for i, r := range list {
		out[i] = RecordReading{r.Name, r.Value, text(r.Unit)}
	}
	return out
}
