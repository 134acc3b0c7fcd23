package configs

import (
	"reflect"
	"regexp"
)

// StorePath gives the path of the state file as far as a text says it that
// need not be good, or even YAML: whoever asks a running agent needs no more.
// A text that says nothing gives the usual path.
func StorePath(text []byte) string {
	var f file
	d := decode("", text, &f)
	if d.root != nil && f.Store.Path != "" {
		return f.Store.Path
	}
	if found := storePath.FindSubmatch(text); found != nil {
		return string(found[1])
	}
	new(document).absent(nil, reflect.ValueOf(&f).Elem(), nil)
	return f.Store.Path
}

// storePath finds the key path in the block store of a text that is no YAML:
// on its line, or on an indented one below.
var storePath = regexp.MustCompile(`(?m)^store:(?:.*|(?:\s*\n[ \t]+.*)*?\n[ \t]+)\bpath:[ \t]*["']?([^"',}\s]+)`)
