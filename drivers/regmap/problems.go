package regmap

import (
	"fmt"
	"strings"
)

// A Problem is one thing wrong with a Map.
type Problem struct {
	Point int    // index in Map.Points; -1 when it is of no point
	Key   string // of the point, such as "word_order"; of the map, such as "unreadable[0]"
	Text  string // what is wrong and what would be right
}

// Error gives "points[3].scale: text".
func (p Problem) Error() string {
	if p.Point < 0 {
		return p.Key + ": " + p.Text
	}
	return fmt.Sprintf("points[%d].%s: %s", p.Point, p.Key, p.Text)
}

// Problems are all the things wrong, in the order of the rows.
type Problems []Problem

// Error gives one line per Problem.
func (ps Problems) Error() string {
	lines := make([]string, len(ps))
	for i, p := range ps {
		lines[i] = p.Error()
	}
	return strings.Join(lines, "\n")
}

func (ps *Problems) add(key, format string, args ...any) {
	*ps = append(*ps, Problem{Key: key, Text: fmt.Sprintf(format, args...)})
}

// Problems gives all that is wrong with m: with each row, and between rows.
// Empty means that m can be used.
func (m Map) Problems() Problems {
	var all Problems
	for i := range m.Points {
		found := m.Points[i].Problems()
		m.between(i, &found)
		for _, problem := range found {
			problem.Point = i
			all = append(all, problem)
		}
	}
	for i, s := range m.Unreadable {
		if s.Table == NoTable || s.Count == 0 || s.end() > addresses {
			all = append(all, Problem{-1, fmt.Sprintf("unreadable[%d]", i), "needs a table, and at least one address up to 65535"})
		}
	}
	return all
}

// between finds what is wrong between row i and the rows before it.
func (m Map) between(i int, found *Problems) {
	p := &m.Points[i]
	for j := range m.Points[:i] {
		other := &m.Points[j]
		if p.Name == other.Name && p.Name != "" {
			found.add("name", "%q is the name of points[%d] already", p.Name, j)
		}
		if p.Span().overlaps(other.Span()) && !p.agreesWith(other) {
			found.add("address", "%v is part of %q already, as %v; rows may share registers only as different bits of one, or as the same value",
				p.Span(), other.Name, other.Type)
		}
	}
	for _, s := range m.Unreadable {
		if p.Span().overlaps(s) {
			found.add("address", "%v is in %v, which the map declares unreadable", p.Span(), s)
		}
	}
}

// agreesWith reports whether two rows on the same registers can both be right:
// they look at different bits, or say the same.
func (p *Point) agreesWith(o *Point) bool {
	if p.Span() != o.Span() || p.Order != o.Order {
		return false
	}
	if p.Type != o.Type {
		return p.Type.picksBits() && o.Type.picksBits()
	}
	return p.Scale == o.Scale && p.Offset == o.Offset && p.Unit == o.Unit && p.Loop == o.Loop
}
