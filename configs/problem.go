package configs

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// A Problem is one thing wrong with a configuration file.
type Problem struct {
	File   string
	Line   int    // 1-based; 0 when the file as a whole is meant
	Column int    // 1-based
	Key    string // such as "pumps[1].signals.motor_speed"; "" for the file as a whole
	Text   string // what is wrong and what would be right
}

// Error gives the problem as file:line:column: key: text.
func (p Problem) Error() string {
	var b strings.Builder
	b.WriteString(p.File)
	if p.Line > 0 {
		fmt.Fprintf(&b, ":%d:%d", p.Line, p.Column)
	}
	if p.Key != "" {
		fmt.Fprintf(&b, ": %s", p.Key)
	}
	fmt.Fprintf(&b, ": %s", p.Text)
	return b.String()
}

// Problems is every Problem of one file, in file order.
type Problems []Problem

// Error gives one problem a line.
func (ps Problems) Error() string {
	lines := make([]string, len(ps))
	for i, p := range ps {
		lines[i] = p.Error()
	}
	return strings.Join(lines, "\n")
}

func (ps Problems) sorted() Problems {
	slices.SortStableFunc(ps, func(a, b Problem) int {
		return cmp.Or(cmp.Compare(a.Line, b.Line), cmp.Compare(a.Column, b.Column))
	})
	return ps
}

// nearest finds the word of known that text was probably meant to be, or "".
func nearest(text string, known []string) string {
	best, bestDistance := "", 1+len(text)/3
	for _, word := range known {
		if d := distance(text, word); d <= bestDistance && (best == "" || d < bestDistance) {
			best, bestDistance = word, d
		}
	}
	return best
}

// distance counts the insertions, deletions and replacements between a and b
// (Levenshtein 1966), case aside.
func distance(a, b string) int {
	a, b = strings.ToLower(a), strings.ToLower(b)
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := 1; i <= len(a); i++ {
		diagonal := row[0]
		row[0] = i
		for j := 1; j <= len(b); j++ {
			cost := 1
			if a[i-1] == b[j-1] {
				cost = 0
			}
			diagonal, row[j] = row[j], min(row[j]+1, row[j-1]+1, diagonal+cost)
		}
	}
	return row[len(b)]
}

// oneOf says what would be right for text, with the probable word first.
func oneOf(text string, known []string) string {
	if near := nearest(text, known); near != "" {
		return fmt.Sprintf("did you mean %q?", near)
	}
	return "use one of " + strings.Join(known, ", ")
}
