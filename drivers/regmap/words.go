package regmap

import (
	"fmt"
	"strings"
)

// words are the words for the values of a small enumeration, by value. An
// empty word is a value that no text gives.
type words[T ~uint8] []string

func (w words[T]) text(v T) string {
	if int(v) >= len(w) {
		return fmt.Sprintf("unknown(%d)", v)
	}
	return w[v]
}

func (w words[T]) parse(what, text string) (T, error) {
	for v, word := range w {
		if word != "" && word == text {
			return T(v), nil
		}
	}
	return 0, unknownWord(what, text, w)
}

// unknownWord is the error for a text that is none of list.
func unknownWord(what, text string, list []string) error {
	var known []string
	for _, word := range list {
		if word == "" {
			continue
		}
		if strings.EqualFold(word, text) || alsoKnownAs[strings.ToLower(text)] == word {
			return fmt.Errorf("%q is no %s; did you mean %q?", text, what, word)
		}
		known = append(known, word)
	}
	return fmt.Errorf("%q is no %s; use one of %s", text, what, strings.Join(known, ", "))
}

// alsoKnownAs has what device documents say for our words.
var alsoKnownAs = map[string]string{
	"coils": "coil", "discretes": "discrete", "discrete_input": "discrete", "discrete_inputs": "discrete",
	"input_register": "input", "input_registers": "input", "inputs": "input",
	"holding_register": "holding", "holding_registers": "holding", "holdings": "holding",

	"boolean": "bool", "short": "int16", "int": "int16", "word": "uint16", "ushort": "uint16", "uint": "uint16",
	"i16": "int16", "u16": "uint16", "i32": "int32", "u32": "uint32", "i64": "int64", "u64": "uint64",
	"long": "int32", "dword": "uint32", "float": "float32", "real": "float32", "f32": "float32", "double": "float64", "f64": "float64",
	"bcd": "bcd16", "cia402": "status_402", "profidrive": "status_profidrive",

	"big": "ABCD", "big_endian": "ABCD", "big-endian": "ABCD", "little": "DCBA", "little_endian": "DCBA", "little-endian": "DCBA",
	"word_swapped": "CDAB", "byte_swapped": "BADC", "ba": "BADC",
}
