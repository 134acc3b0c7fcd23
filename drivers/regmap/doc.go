// Package regmap turns Modbus registers into named values.
//
// A [Map] is a table, not code: one [Point] per value says where it is, how it
// is encoded, what one count is worth and when it is not to be believed.
// [Point.Decode] is pure; a [Decoder] adds the little memory that quality over
// time needs.
//
// # Addresses
//
// Addresses are the zero-based numbers that go over the wire. Documents often
// print 40001 for what the wire calls holding register 0: [ParseDocAddress]
// turns one into the other.
//
// # Word order
//
// A register is big-endian, as the Modbus application protocol (V1.1b3, §4.2)
// says. The protocol says nothing of values that span two registers, so each
// such row states its word order; there is no default.
//
// # Units
//
// A value comes out in the base unit of its dimension (package quantity):
// unit.ToBase(raw·scale + offset).
//
// # What is not a number
//
// A value that is not good is never 0 by accident: where the device gave no
// number (NaN, its not-available pattern, a digit above 9 in a BCD register)
// Number is NaN and the quality bad. Nobody computes with a bad value.
//
// # Quality over time
//
// A 4–20 mA current outside NE 43's measuring range is uncertain, and bad once
// it stood at a failure current for 4 s. A frozen signal is bad: what it shows
// is old. A repeated sample is uncertain with the reason Repeated: its number is
// right to show, but whoever counts samples leaves it out.
package regmap
