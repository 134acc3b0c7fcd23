package configs

import (
	"reflect"
	"strings"

	"pumpside/drivers/quantity"
	"pumpside/drivers/regmap"
)

// point makes the row of the j-th point of a device; ok is false when not all
// of it was understood.
func (l *loader) point(device *place, j int, df *deviceFile, kind *profile) (p regmap.Point, ok bool) {
	f := &df.Points[j]
	here := device.child("points").item(j)
	before := l.told
	l.fill(here, f, kind)
	l.typed(here, f, kind)
	p = regmap.Point{
		Name: f.Name, Scale: f.Scale, Offset: f.Offset, UpdatePeriod: f.UpdatePeriod,
		Path: regmap.Path{Snubber: f.Snubber, Resolution: float64(f.Resolution), SharedWith: f.SharedWith},
	}
	if f.Damping != nil {
		p.Path.Damping, p.Path.DampingKnown = *f.Damping, true
	}
	if f.FrozenAfter != nil {
		p.FrozenAfter = orElse(*f.FrozenAfter, -1) // 0 s: never
	}
	l.name(here.child("name"), f.Name)
	l.address(here, f, df.DocBase, &p)
	if f.Type != "" {
		p.Type = parsed(l, here.child("type"), f.Type, regmap.ParseType)
	}
	if f.Order != "" {
		p.Order = parsed(l, here.child("word_order"), f.Order, regmap.ParseWordOrder)
	}
	p.Class, _ = regmap.ParseReadClass(f.Read) // one of the words, or told already
	l.units(here, f, &p)
	for i, text := range f.NotAvailable {
		if p.Type == regmap.NoType {
			break
		}
		p.NotAvailable = append(p.NotAvailable, parsed(l, here.child("not_available").item(i), text, func(text string) (uint64, error) {
			return regmap.ParsePattern(text, p.Type)
		}))
	}
	if ok = l.told == before && !l.isSpoilt(here) && !l.anySpoiltIn(here); !ok {
		p.Table = regmap.NoTable // so that it overlaps no other row
	} else {
		l.doubtLoop(here, &p)
	}
	return p, ok
}

// anySpoiltIn reports whether a key of the point at here was not understood.
func (l *loader) anySpoiltIn(here *place) bool {
	return len(l.spoilt) > 0 && l.anySpoilt(here, shapeOf(reflect.TypeFor[pointFile]()).names...)
}

// parsed reads a text and tells what is wrong with it.
func parsed[T any](l *loader, here *place, text string, parse func(string) (T, error)) T {
	v, err := parse(text)
	if err != nil {
		l.wrong(here, "%v", err)
	}
	return v
}

// address finds table and address, by wire or by document.
func (l *loader) address(here *place, f *pointFile, base int, p *regmap.Point) {
	given := f.Address != ""
	switch {
	case l.anySpoilt(here, "table", "address", "doc"):
	case given && f.Doc != "":
		l.wrong(here.child("doc"), "address is given too; keep doc (as the manual prints it) or address (as on the wire), not both")
	case f.Doc != "":
		l.byDocument(here, f, base, p)
	case !given:
		l.wrong(here, "has no address; write doc (as the manual prints it, such as 40108) or table and address (zero-based, as on the wire)")
	default:
		l.wire(here, f, p)
	}
}

func (l *loader) byDocument(here *place, f *pointFile, base int, p *regmap.Point) {
	table, address, err := regmap.ParseDocAddress(f.Doc, base)
	if err != nil {
		l.wrong(here.child("doc"), "%v", err)
		return
	}
	p.Table, p.Address = table, address
	if f.Table != "" && f.Table != table.String() {
		l.wrong(here.child("table"), "is %s, but doc %s is in table %v; leave table out", f.Table, f.Doc, table)
	}
}

// wire reads an address on the wire. A number from a document is asked about;
// written in hexadecimal it is meant.
func (l *loader) wire(here *place, f *pointFile, p *regmap.Point) {
	n, err := wholeNumber(f.Address)
	hex := strings.HasPrefix(strings.ToLower(f.Address), "0x")
	p.Table, _ = regmap.ParseTable(f.Table) // one of the words, or missing
	switch here = here.child("address"); {
	case err != nil:
		l.wrong(here, "%q is no address; write a whole number such as 107 or 0x6B", f.Address)
	case n >= 100001 && n <= 465536:
		l.wrong(here, "%s looks like a manual's number; write doc: %s", f.Address, f.Address)
	case !hex && looksLikeDoc(p.Table, n):
		l.wrong(here, "%s looks like a manual's number; write doc: %s, or 0x%X if it really is the address on the wire", f.Address, f.Address, n)
	case n < 0 || n > 65535:
		l.wrong(here, "%s is no address; addresses go from 0 to 65535", f.Address)
	case f.Table == "":
		l.wrong(here, "has no table; write table: coil, discrete, input or holding beside it")
	default:
		p.Address = uint16(n)
	}
}

// looksLikeDoc asks without a table too: then the number's first digit is it.
func looksLikeDoc(table regmap.Table, n int64) bool {
	if n < 0 || n > 65535 {
		return false
	}
	for t := regmap.Coil; t <= regmap.Input; t++ {
		if (table == regmap.NoTable || table == t) && regmap.LooksLikeDoc(t, uint16(n)) {
			return true
		}
	}
	return false
}

// units reads unit, loop and range. A loop's number before it is a current, so
// that the unit of its value is that of its ends.
func (l *loader) units(here *place, f *pointFile, p *regmap.Point) {
	var known bool
	switch {
	case len(f.Loop) > 0:
		if f.Unit != "" && f.Unit != "mA" {
			l.wrong(here.child("unit"), "raw × scale + offset of a loop is in mA, and its value has the unit written in loop; leave unit out")
		}
		if p.Unit, known = quantity.Lookup(symbolOf(f.Loop[0])); !known {
			l.wrong(here.child("loop"), "%q has no unit that is known; write the values at 4 mA and at 20 mA, such as [0 bar, 250 bar]", f.Loop[0])
			return
		}
		p.Loop = l.ends(here.child("loop"), f.Loop, p.Unit.Dimension, "the values at 4 mA and at 20 mA")
	case f.Unit != "":
		if p.Unit, known = l.unitNamed(here.child("unit"), f.Unit); !known {
			return
		}
	}
	if len(f.Range) > 0 {
		p.Valid = l.ends(here.child("range"), f.Range, p.Unit.Dimension, "the lowest and the highest believable value")
	}
}

// ends reads two values.
func (l *loader) ends(here *place, texts []string, d quantity.Dimension, what string) (r regmap.Range) {
	if len(texts) != 2 {
		example := d.Example()
		l.wrong(here, "is not two values; write %s, such as [%s, %s]", what, strings.TrimSpace("0 "+symbolOf(example)), example)
		return r
	}
	parse := func(text string) (float64, error) { return quantity.Parse(text, d) }
	return regmap.Range{Low: parsed(l, here.item(0), texts[0], parse), High: parsed(l, here.item(1), texts[1], parse)}
}

// symbolOf gives the unit at the end of a text such as "10 MPa".
func symbolOf(text string) string {
	return strings.TrimLeft(text, " +-0123456789.eE")
}

func (l *loader) unitNamed(here *place, symbol string) (quantity.Unit, bool) {
	if u, ok := quantity.Lookup(symbol); ok {
		return u, true
	}
	if near := nearest(symbol, symbols()); near != "" {
		l.wrong(here, "unit %q is not known; did you mean %q?", symbol, near)
	} else {
		l.wrong(here, "unit %q is not known; write one such as bar, °C, rpm, Hz, L/min, A, kW, h or %%", symbol)
	}
	return quantity.Unit{}, false
}

func symbols() (list []string) {
	for d := quantity.Pressure; d <= quantity.Mass; d++ {
		list = append(list, quantity.Symbols(d)...)
	}
	return list
}
