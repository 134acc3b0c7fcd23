package configs

import (
	"errors"
	"fmt"
	"strings"

	"github.com/goccy/go-yaml"
)

// syntax notes why text is not YAML, in words for people who have never read
// its grammar.
func (d *document) syntax(text []byte, err error) {
	p := Problem{File: d.file, Text: "not YAML: " + err.Error()}
	if e, ok := errors.AsType[yaml.Error](err); ok {
		said := strings.TrimSpace(e.GetMessage())
		p.Text = "not YAML: " + said
		if t := e.GetToken(); t != nil && t.Position != nil {
			p.Line, p.Column = t.Position.Line, t.Position.Column
			explainSyntax(&p, strings.Split(string(text), "\n"), said)
		}
	}
	d.told++
	d.problems = append(d.problems, p)
}

// explainSyntax puts the commonest slips in words, at the line to mend: the
// parser names the one where it noticed.
func explainSyntax(p *Problem, lines []string, said string) {
	if p.Line > len(lines) {
		return
	}
	if strings.HasPrefix(said, "mapping value") && p.Line < len(lines) && indentOf(lines[p.Line]) > keyColumn(lines[p.Line-1]) {
		p.Line, p.Column = p.Line+1, 1
	}
	if n := unclosedQuote(lines[:p.Line]); n > 0 {
		p.Line, p.Column = n, 1
		p.Text = fmt.Sprintf("line %d has a quotation mark that is not closed", n)
		return
	}
	line := lines[p.Line-1]
	before := ""
	for i := p.Line - 2; i >= 0 && before == ""; i-- {
		before = strings.TrimRight(lines[i], " \r")
	}
	switch indent := line[:len(line)-len(strings.TrimLeft(line, " \t"))]; {
	case strings.Contains(indent, "\t"):
		p.Text = fmt.Sprintf("line %d begins with a tab; use spaces, two for each level", p.Line)
	case strings.Contains(said, "not allowed in this context") && before != "" && len(indent) != keyColumn(before):
		p.Text = fmt.Sprintf("line %d begins after %d space(s), the keys of the block above it after %d; the keys of one block begin in the same column", p.Line, len(indent), keyColumn(before))
	case strings.Contains(said, "'}' must be specified"), strings.Contains(said, "']' must be specified"):
		p.Text = "a { or [ before this is not closed; write } or ] where its content ends, and a comma between two entries"
	}
}

// unclosedQuote gives the number of the first line with an odd quotation mark,
// 0 for none.
func unclosedQuote(lines []string) int {
	for i, line := range lines {
		line, _, _ = strings.Cut(line, " #")
		if strings.Count(line, `"`)%2 == 1 {
			return i + 1
		}
	}
	return 0
}

func indentOf(line string) int { return len(line) - len(strings.TrimLeft(line, " ")) }

// keyColumn is how many columns stand before the key of a line, the dash of a
// list's entry being one.
func keyColumn(line string) int { return len(line) - len(strings.TrimLeft(line, " -")) }
