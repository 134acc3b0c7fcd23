package pump

import (
	"cmp"
	"fmt"
	"strings"
)

// A Problem is one thing wrong with a description of a pump.
type Problem struct {
	Field string // the configuration's key, such as "mechanism.rod_ratio"
	Text  string // what is wrong and what would be right
}

// Error gives "field: text".
func (p Problem) Error() string { return p.Field + ": " + p.Text }

// Problems are all the things wrong, in the order of the fields.
type Problems []Problem

// Error gives one line per Problem.
func (ps Problems) Error() string {
	lines := make([]string, len(ps))
	for i, p := range ps {
		lines[i] = p.Error()
	}
	return strings.Join(lines, "\n")
}

func (ps *Problems) add(field, format string, args ...any) {
	*ps = append(*ps, Problem{field, fmt.Sprintf(format, args...)})
}

// err is ps as an error: nil when nothing is wrong.
func (ps Problems) err() error {
	if len(ps) == 0 {
		return nil
	}
	return ps
}

// between is false for a NaN.
func between[T cmp.Ordered](x, low, high T) bool { return low <= x && x <= high }
