package regmap

import "math/bits"

// A WordOrder says how the registers of one value make up its bytes. The
// letters are the value's bytes from the most significant on, in the order in
// which they stand on the wire for two registers. Four registers follow the
// same two questions: are the words reversed, are the bytes in a word swapped.
type WordOrder uint8

// The orders. NoOrder is right for one register; BADC on one register swaps
// its two bytes.
const (
	NoOrder WordOrder = iota
	ABCD              // most significant word first
	CDAB              // least significant word first
	BADC              // most significant word first, bytes swapped
	DCBA              // least significant word first, bytes swapped
)

var wordOrders = words[WordOrder]{ABCD: "ABCD", CDAB: "CDAB", BADC: "BADC", DCBA: "DCBA"}

// String gives the four letters; "" for NoOrder.
func (o WordOrder) String() string { return wordOrders.text(o) }

// ParseWordOrder reads what String writes for the four orders.
func ParseWordOrder(text string) (WordOrder, error) { return wordOrders.parse("word order", text) }

func (o WordOrder) reversesWords() bool { return o == CDAB || o == DCBA }
func (o WordOrder) swapsBytes() bool    { return o == BADC || o == DCBA }

// join makes one number of up to four registers; the last one in order is
// worth 1.
func (o WordOrder) join(registers []uint16) uint64 {
	var raw uint64
	for i := range registers {
		word := registers[i]
		if o.reversesWords() {
			word = registers[len(registers)-1-i]
		}
		if o.swapsBytes() {
			word = bits.ReverseBytes16(word)
		}
		raw = raw<<16 | uint64(word)
	}
	return raw
}
