package configs

import (
	"crypto/sha256"
	"encoding/hex"
	"strings"

	"pumpside/drivers"
	"pumpside/rules/site"
)

// Load turns the text of a configuration file into settings ready for use.
// name is what its problems call the file. The error is [Problems]: all of
// them, in file order.
func Load(name string, text []byte) (*Config, error) {
	var f file
	l := &loader{document: decode(name, text, &f), file: &f, config: &Config{Hash: hashOf(text)}}
	if l.root != nil {
		l.site()
		l.calls()
		l.buses()
		l.devices()
		l.pumps()
		l.siteRules()
		l.mqtt()
		l.rest()
	}
	if len(l.problems) > 0 {
		return nil, l.problems.sorted()
	}
	l.config.Notes = l.notes.sorted()
	return l.config, nil
}

func hashOf(text []byte) string {
	sum := sha256.Sum256(text)
	return hex.EncodeToString(sum[:6])
}

// A loader checks a file and fills a Config with what is right in it.
type loader struct {
	*document
	file   *file
	config *Config
	notes  Problems

	busOf    map[string]int   // by id
	deviceOf map[string]int   // by id
	pumpOf   map[string]int   // by id
	devs     []deviceFacts    // as Config.Devices
	users    map[pointRef]int // how many pumps a point feeds
	roles    []string         // names of all roles, for suggestions
	groups   []site.Group     // as read; checked with the site's rules
	lone     int              // pumps that are in no group
}

// wrong notes a problem of meaning, unless the value was not understood in the
// first place.
func (l *loader) wrong(p *place, format string, args ...any) {
	if !l.isSpoilt(p) {
		l.problem(p, format, args...)
	}
}

// note says what is worth a look and not wrong.
func (l *loader) note(p *place, format string, args ...any) {
	l.notes = append(l.notes, l.problemAt(p, format, args...))
}

// longestID keeps topics and labels readable.
const longestID = 64

// name checks the characters of a short name.
func (l *loader) name(p *place, id string) {
	fixed := strings.Map(func(r rune) rune {
		if isNameRune(r) {
			return r
		}
		return '-'
	}, id)
	switch {
	case id == "":
		l.wrong(p, "is empty; write a short name of letters, digits, - and _")
	case fixed != id:
		l.wrong(p, "%q is not a short name, which has only letters, digits, - and _; write %q", id, fixed)
	case len(id) > longestID:
		l.wrong(p, "has %d characters; %d at most", len(id), longestID)
	}
}

func isNameRune(r rune) bool {
	return 'a' <= r && r <= 'z' || 'A' <= r && r <= 'Z' || '0' <= r && r <= '9' || r == '-' || r == '_'
}

// ids finds names that are given twice in one list. Names of alarms are made
// of them in lower case, so that they must differ in more than case.
type ids struct {
	*loader
	first map[string]*place // by name in lower case
}

func (l *loader) newIDs() ids { return ids{l, map[string]*place{}} }

// add checks the name that stands at p.
func (i ids) add(p *place, id string) {
	i.name(p, id)
	key := strings.ToLower(id)
	other, twice := i.first[key]
	switch {
	case !twice:
		i.first[key] = p
	case id != "":
		_, position := i.find(other)
		i.wrong(p, "%q is %v on line %d already; names must differ, and in more than case", id, other.in, position.Line)
	}
}

func roleNames() []string {
	var names []string
	for _, s := range drivers.Signals[1:] {
		names = append(names, s.Name)
	}
	return names
}
