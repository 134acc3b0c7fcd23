package configs

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// A Problem is one thing wrong with a configuration file.
type Problem struct {
	File   string `json:"file"`
	Line   int    `json:"line"`   // 1-based; 0 when the file as a whole is meant
	Column int    `json:"column"` // 1-based
	Key    string `json:"key"`    // such as "pumps[1].signals.motor_speed"; "" for the file as a whole
	Text   string `json:"text"`   // what is wrong and what would be right
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

// sorted puts ps in file order. What an alias repeats in many places is one
// mistake at one place of the file, and told once.
func (ps Problems) sorted() Problems {
	type spot struct {
		line, column int
		text         string
	}
	seen := map[spot]bool{}
	ps = slices.DeleteFunc(ps, func(p Problem) bool {
		at := spot{p.Line, p.Column, p.Text}
		if p.Line > 0 && seen[at] {
			return true
		}
		seen[at] = true
		return false
	})
	slices.SortStableFunc(ps, func(a, b Problem) int {
		return cmp.Or(cmp.Compare(a.Line, b.Line), cmp.Compare(a.Column, b.Column))
	})
	return ps
}
