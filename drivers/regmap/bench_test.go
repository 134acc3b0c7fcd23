package regmap_test

import (
	"fmt"
	"testing"
	"time"

	"pumpside/drivers/regmap"
)

// twenty is a device of 20 points on 32 registers, as a drive and its analog
// module together: what one answer brings.
func twenty(t testing.TB) (regmap.Map, regmap.Answer) {
	rows := []struct {
		typ   regmap.Type
		order regmap.WordOrder
		unit  string
	}{
		{regmap.Status402, 0, ""},
		{regmap.Uint16, 0, ""},
		{regmap.Int16, 0, "rpm"},
		{regmap.Uint16, 0, "Hz"},
		{regmap.Uint16, 0, "A"},
		{regmap.Int16, 0, "N·m"},
		{regmap.Uint16, 0, "kW"},
		{regmap.Uint32, regmap.CDAB, "h"},
		{regmap.Int16, 0, "°C"},
		{regmap.Uint64, regmap.ABCD, "kWh"},
		{regmap.Float32, regmap.CDAB, "kPa"},
		{regmap.Float32, regmap.CDAB, "kPa"},
		{regmap.Float32, regmap.ABCD, "L/min"},
		{regmap.Float64, regmap.DCBA, "L"},
		{regmap.BCD32, regmap.BADC, "h"},
		{regmap.Bit(0), 0, ""},
		{regmap.Bit(1), 0, ""},
		{regmap.RunBitFault(2, 3), 0, ""},
		{regmap.Int16, 0, "°C"},
		{regmap.Int16, 0, "%"},
	}
	var m regmap.Map
	next := uint16(100)
	for i, row := range rows {
		p := regmap.Point{Name: fmt.Sprint("p", i), Table: regmap.Holding, Address: next, Type: row.typ, Order: row.order, Scale: 1}
		if row.unit != "" {
			p.Unit, p.Scale = unit(t, row.unit), 0.1
			p.NotAvailable = []uint64{0x7FFF}
			p.Valid = regmap.Range{Low: -1e12, High: 1e12}
		}
		next += uint16(row.typ.Registers())
		if row.typ == regmap.Bit(0) || row.typ == regmap.Bit(1) {
			next-- // the bits and the run bit share a register
		}
		m.Points = append(m.Points, p)
	}
	last := &m.Points[len(m.Points)-1]
	last.Scale, last.Loop, last.Valid = 0.001, regmap.Range{Low: 0, High: 1}, regmap.Range{}
	if problems := m.Problems(); len(problems) > 0 {
		t.Fatal(problems)
	}
	words := make(registers, next-100)
	for i := range words {
		words[i] = 0x1234
	}
	return m, regmap.Answer{Table: regmap.Holding, First: 100, Words: words}
}

func TestDecodingAWholeAnswerAllocatesNothing(t *testing.T) {
	m, answer := twenty(t)
	d := regmap.NewDecoder(m)
	values := make([]regmap.Value, 0, len(m.Points))
	now := time.Hour
	allocations := testing.AllocsPerRun(100, func() {
		now += time.Second
		answer.Words[3]++
		values = d.Decode(values[:0], at(now), answer)
	})
	if allocations != 0 || len(values) != 20 {
		t.Errorf("%v allocations for %d values", allocations, len(values))
	}
}

func BenchmarkDecodeTwentyPoints(b *testing.B) {
	m, answer := twenty(b)
	d := regmap.NewDecoder(m)
	values := make([]regmap.Value, 0, len(m.Points))
	now := time.Hour
	b.ReportAllocs()
	for b.Loop() {
		now += time.Second
		answer.Words[3]++
		values = d.Decode(values[:0], at(now), answer)
	}
}
