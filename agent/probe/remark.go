package probe

import (
	"fmt"

	"pumpside/drivers"
	"pumpside/drivers/regmap"
)

// Remarks says what is to be learned from where f was found, against what the
// manual said: another table, an address that is one off, an order of words or
// bytes that is not the protocol's own.
func (e *Expectation) Remarks(f *Find) []string {
	var list []string
	add := func(format string, args ...any) { list = append(list, fmt.Sprintf(format, args...)) }
	if e.Table != regmap.NoTable {
		switch off := int(f.Address) - int(e.Address); {
		case f.Table != e.Table:
			add("it stands in table %v, not %v: the manual's first digit is not to be trusted", f.Table, e.Table)
		case off == -1:
			add("it stands one address before the manual's: the manual counts from 1 where you said 0; use doc_base: 1")
		case off == 1:
			add("it stands one address after the manual's: the manual's numbers are those on the wire; use doc_base: 0")
		case off != 0:
			add("it stands %+d addresses from where the manual has it; if others are as far off, the manual's list has an offset of its own", off)
		}
	}
	switch f.Reading.Order {
	case regmap.CDAB:
		add("its words are swapped (low word first): word_order CDAB, most likely for every value of this device")
	case regmap.BADC, regmap.DCBA:
		add("the bytes within its words are swapped: word_order %v", f.Reading.Order)
	}
	if f.Span != nil {
		add("its %v fit the value and the range; a second value at another %s proves it", *f.Span, e.Name)
	}
	if f.Unit != e.Unit && e.State == drivers.DriveUnknown {
		add("the register is in %s, your display in %s", f.Unit.Symbol, e.Unit.Symbol)
	}
	return list
}
