package configs

import (
	"maps"
	"reflect"
	"strings"
	"testing"

	"github.com/goccy/go-yaml/ast"
)

func TestReferenceLoadsWithoutProblemOrNote(t *testing.T) {
	c, err := Load("reference.yaml", Reference)
	if err != nil {
		t.Fatalf("problems:\n%v", err)
	}
	if len(c.Notes) > 0 {
		t.Errorf("notes:\n%v", c.Notes)
	}
}

// TestReferenceHasAndExplainsEveryKey looks at each key of each Go type: it
// must stand somewhere in the reference, with a comment on its line or on the
// line before.
func TestReferenceHasAndExplainsEveryKey(t *testing.T) {
	var f file
	d := decode("reference.yaml", Reference, &f)
	r := reference{document: d, lines: strings.Split(string(Reference), "\n"), written: map[string]bool{}, explained: map[string]bool{}}
	r.walk(d.root, reflect.TypeFor[file]())
	for key := range keysOf(reflect.TypeFor[file]()) {
		switch {
		case !r.written[key]:
			t.Errorf("reference.yaml lacks %s", key)
		case !r.explained[key]:
			t.Errorf("reference.yaml has no comment beside %s", key)
		}
	}
}

// keysOf lists every key of the types below t, such as "pumpFile.bore".
func keysOf(t reflect.Type) map[string]bool {
	keys := map[string]bool{}
	for t.Kind() == reflect.Pointer || t.Kind() == reflect.Slice || t.Kind() == reflect.Map {
		t = t.Elem()
	}
	if t.Kind() == reflect.Struct {
		for _, name := range shapeOf(t).names {
			keys[t.Name()+"."+name] = true
			maps.Copy(keys, keysOf(t.Field(shapeOf(t).byName[name]).Type))
		}
	}
	return keys
}

// A reference is the reference configuration while it is looked through.
type reference struct {
	*document
	lines              []string
	written, explained map[string]bool
}

func (r *reference) walk(node ast.Node, t reflect.Type) {
	node = r.follow(node)
	for t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	switch values, _ := entries(node); t.Kind() {
	case reflect.Slice:
		if list, ok := node.(*ast.SequenceNode); ok {
			for _, item := range list.Values {
				r.walk(item, t.Elem())
			}
		}
	case reflect.Map:
		for _, e := range values {
			r.walk(e.Value, t.Elem())
		}
	case reflect.Struct:
		for _, e := range values {
			token := e.Key.GetToken()
			r.note(t.Name()+"."+token.Value, token.Position.Line)
			r.walk(e.Value, t.Field(shapeOf(t).byName[token.Value]).Type)
		}
	}
}

func (r *reference) note(key string, line int) {
	before := strings.TrimSpace(r.lines[max(line-2, 0)])
	r.written[key] = true
	if strings.Contains(r.lines[line-1], " # ") || strings.HasPrefix(before, "#") {
		r.explained[key] = true
	}
}

func TestEveryKeyIsDocumented(t *testing.T) {
	var check func(in string, t reflect.Type)
	check = func(in string, of reflect.Type) {
		for of.Kind() == reflect.Pointer || of.Kind() == reflect.Slice || of.Kind() == reflect.Map {
			of = of.Elem()
		}
		if of.Kind() != reflect.Struct {
			return
		}
		for i, f := range shapeOf(of).fields {
			if f.refuse == "" && !strings.HasSuffix(f.doc, ".") {
				t.Errorf("%s%s has no sentence: %q", in, f.name, f.doc)
			}
			check(in+f.name+".", of.Field(i).Type)
		}
	}
	check("", reflect.TypeFor[file]())
}
