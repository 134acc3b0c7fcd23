package main

import (
	"errors"
	"os"

	"pumpside/agent/probe"
)

// write drafts a configuration when one was asked for. An existing file is
// never touched.
func (p *prober) write() error {
	if p.draft == "" {
		return nil
	}
	d := probe.Draft{Bus: p.report.settings}
	for _, found := range p.report.Devices {
		d.Devices = append(d.Devices, probe.DraftDevice{
			Unit: found.Unit, Identification: found.Identification, Blocks: found.blocks, Points: p.points(found.Unit),
		})
	}
	f, err := os.OpenFile(p.draft, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return err
	}
	p.report.Draft = p.draft
	return errors.Join(d.Write(f), f.Close())
}

// points are the expected values that were found on a unit.
func (p *prober) points(unit byte) (list []probe.DraftPoint) {
	for _, f := range p.report.Finds {
		if f.Unit == unit && len(f.places) > 0 {
			list = append(list, probe.DraftPoint{Expected: f.expected, Find: f.places[0].Find, Remarks: f.Remarks})
		}
	}
	return list
}
