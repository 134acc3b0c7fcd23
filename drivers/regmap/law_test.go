package regmap_test

import (
	"encoding/binary"
	"math"
	"math/bits"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"pumpside/drivers"
	"pumpside/drivers/regmap"
)

var orders = []regmap.WordOrder{regmap.ABCD, regmap.CDAB, regmap.BADC, regmap.DCBA}

// encode writes the bytes of a value, most significant first, as registers. It
// goes another way than the decoder: byte by byte through the order's letters.
func encode(value []byte, o regmap.WordOrder) []uint16 {
	places := map[regmap.WordOrder]func(i, n int) int{
		regmap.ABCD: func(i, n int) int { return i },
		regmap.CDAB: func(i, n int) int { return n - 2 - i&^1 + i&1 },
		regmap.BADC: func(i, n int) int { return i ^ 1 },
		regmap.DCBA: func(i, n int) int { return n - 1 - i },
	}
	wire := make([]byte, len(value))
	for i, b := range value {
		wire[places[o](i, len(value))] = b
	}
	words := make([]uint16, len(wire)/2)
	for i := range words {
		words[i] = binary.BigEndian.Uint16(wire[2*i:])
	}
	return words
}

func roundTrip(t *rapid.T, typ regmap.Type, value []byte, want float64) {
	o := rapid.SampledFrom(orders).Draw(t, "order")
	p := point(typ, o)
	if got := p.Decode(encode(value, o)); got.Number != want || got.Quality != drivers.Good {
		t.Fatalf("%v %v of % X is %v (%v), want %v", typ, o, value, got.Number, got.Reason, want)
	}
}

func TestWhatIsEncodedDecodesToItself(t *testing.T) {
	be := binary.BigEndian
	laws := map[string]func(*rapid.T){
		"int32": func(t *rapid.T) {
			x := rapid.Int32().Draw(t, "x")
			roundTrip(t, regmap.Int32, be.AppendUint32(nil, uint32(x)), float64(x))
		},
		"uint32": func(t *rapid.T) {
			x := rapid.Uint32().Draw(t, "x")
			roundTrip(t, regmap.Uint32, be.AppendUint32(nil, x), float64(x))
		},
		"int64": func(t *rapid.T) {
			x := rapid.Int64().Draw(t, "x")
			roundTrip(t, regmap.Int64, be.AppendUint64(nil, uint64(x)), float64(x))
		},
		"uint64": func(t *rapid.T) {
			x := rapid.Uint64().Draw(t, "x")
			roundTrip(t, regmap.Uint64, be.AppendUint64(nil, x), float64(x))
		},
		"float32": func(t *rapid.T) {
			x := rapid.Float32().Draw(t, "x")
			if math.IsInf(float64(x), 0) {
				t.Skip("no number")
			}
			roundTrip(t, regmap.Float32, be.AppendUint32(nil, math.Float32bits(x)), float64(x))
		},
		"float64": func(t *rapid.T) {
			x := rapid.Float64().Draw(t, "x")
			if math.IsInf(x, 0) {
				t.Skip("no number")
			}
			roundTrip(t, regmap.Float64, be.AppendUint64(nil, math.Float64bits(x)), x)
		},
		"bcd32": func(t *rapid.T) {
			digits := rapid.SliceOfN(rapid.ByteRange(0, 9), 8, 8).Draw(t, "digits")
			var value []byte
			want := 0.0
			for pair := range slices.Chunk(digits, 2) {
				value = append(value, pair[0]<<4|pair[1])
				want = want*100 + float64(pair[0])*10 + float64(pair[1])
			}
			roundTrip(t, regmap.BCD32, value, want)
		},
	}
	for name, law := range laws {
		t.Run(name, func(t *testing.T) { rapid.Check(t, law) })
	}
}

func TestBitsOfARegisterAddUpToIt(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		word := rapid.Uint16().Draw(t, "word")
		ones := 0.0
		for n := range uint8(16) {
			p := point(regmap.Bit(n), regmap.NoOrder)
			ones += p.Decode(registers{word}).Number
		}
		if ones != float64(bits.OnesCount16(word)) {
			t.Errorf("%04X has %v ones", word, ones)
		}
	})
}

// No input may panic, and what is not bad must be a number.
func FuzzDecode(f *testing.F) {
	f.Add(uint32(regmap.Float32), uint8(regmap.ABCD), 1.0, 0.0, 0.0, 0.0, []byte{0x7F, 0xC0, 0, 0})
	f.Add(uint32(regmap.BCD16), uint8(regmap.NoOrder), 0.1, -1.0, 0.0, 100.0, []byte{0xAB, 0xCD})
	f.Add(uint32(regmap.RunBitFault(15, 3)), uint8(regmap.BADC), 1.0, 0.0, 0.0, 0.0, []byte{0x80, 0x08})
	f.Add(uint32(regmap.Uint64), uint8(regmap.DCBA), math.MaxFloat64, math.MaxFloat64, 1.0, 0.0, []byte{0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF})
	f.Add(uint32(regmap.Uint16), uint8(regmap.NoOrder), 0.001, 0.0, 0.0, 1e6, []byte{0x0E, 0xD8})
	f.Fuzz(func(t *testing.T, typ uint32, order uint8, scale, offset, low, high float64, answer []byte) {
		var words registers
		for pair := range slices.Chunk(answer, 2) {
			if len(pair) == 2 {
				words = append(words, binary.BigEndian.Uint16(pair))
			}
		}
		ends := regmap.Range{Low: low, High: high}
		for _, p := range []regmap.Point{
			{Name: "plain", Table: regmap.Holding, Type: regmap.Type(typ), Order: regmap.WordOrder(order), Scale: scale, Offset: offset, Valid: ends},
			{Name: "loop", Table: regmap.Holding, Type: regmap.Type(typ), Order: regmap.WordOrder(order), Scale: scale, Offset: offset, Loop: ends},
		} {
			p.Problems()
			v := p.Decode(words)
			if v.Quality != drivers.Bad && (math.IsNaN(v.Number) || math.IsInf(v.Number, 0)) {
				t.Errorf("%v of %04X is %v and %v", p.Type, words, v.Number, v.Quality)
			}
			if (v.Quality == drivers.Good) != (v.Reason == drivers.ReasonNone) {
				t.Errorf("%v of %04X is %v because %v", p.Type, words, v.Quality, v.Reason)
			}
			p.DriveStatus(v)
			d := regmap.NewDecoder(regmap.Map{Points: []regmap.Point{p}})
			d.Decode(nil, drivers.Instant{}, regmap.Answer{Table: regmap.Holding, Words: words})
		}
	})
}
