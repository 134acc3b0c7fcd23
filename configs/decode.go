package configs

import (
	"fmt"
	"reflect"
	"strings"

	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/parser"
)

// A document is a parsed file and what is wrong with it.
type document struct {
	file     string
	root     ast.Node // nil when the text is not one YAML document
	anchors  map[string]ast.Node
	size     int             // values decoded so far
	spoilt   map[string]bool // keys whose value was not understood
	told     int             // problems so far, those beyond mostProblems too
	problems Problems
}

// mostValues is how many values a file may unfold to: aliases of aliases can
// make very much of a small text.
const mostValues = 1_000_000

// mostProblems is how many are worth telling.
const mostProblems = 5000

// decode reads text into into, a pointer to a struct, and collects every
// problem of form: syntax, unknown and missing keys, wrong types and units.
func decode(file string, text []byte, into any) *document {
	d := &document{file: file, anchors: map[string]ast.Node{}, spoilt: map[string]bool{}}
	tree, err := parse(text)
	if err != nil {
		d.syntax(text, err)
		return d
	}
	var bodies []ast.Node
	for _, doc := range tree.Docs {
		if doc.Body != nil && doc.Body.Type() != ast.CommentType {
			bodies = append(bodies, doc.Body)
		}
	}
	switch {
	case len(bodies) == 0:
		d.problem(nil, "the file is empty; start from the reference configuration (site, buses, devices, pumps)")
		return d
	case len(tree.Docs) > 1:
		d.problem(nil, "the file holds more than one YAML document; remove the line with only ---")
		return d
	}
	d.root = bodies[0]
	d.value(nil, d.root, reflect.ValueOf(into).Elem(), nil)
	return d
}

// parse keeps a parser that gives up from taking the program with it.
func parse(text []byte) (tree *ast.File, err error) {
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("the text cannot be read: %v", r)
		}
	}()
	return parser.ParseBytes(text, 0)
}

// problem notes a problem at p, or at the nearest that stands in the file.
func (d *document) problem(p *place, format string, args ...any) {
	switch d.told++; {
	case d.told <= mostProblems:
		d.problems = append(d.problems, d.problemAt(p, format, args...))
	case d.told == mostProblems+1:
		d.problems = append(d.problems, Problem{File: d.file, Text: fmt.Sprintf("has more than %d problems; the first of them are told", mostProblems)})
	}
}

func (d *document) problemAt(p *place, format string, args ...any) Problem {
	one := Problem{File: d.file, Key: p.String(), Text: fmt.Sprintf(format, args...)}
	if _, position := d.find(p); position != nil {
		one.Line, one.Column = position.Line, position.Column
	}
	return one
}

// spoil notes a problem of form: the value at p is not known, and nothing else
// is said of it.
func (d *document) spoil(p *place, format string, args ...any) {
	d.problem(p, format, args...)
	d.unknown(p)
}

func (d *document) unknown(p *place) {
	if d.spoilt != nil && d.told <= mostProblems {
		d.spoilt[p.String()] = true
	}
}

// isSpoilt reports whether the value at p, or one that p is in, is not known.
func (d *document) isSpoilt(p *place) bool {
	if len(d.spoilt) == 0 {
		return false
	}
	for ; p != nil; p = p.in {
		if d.spoilt[p.String()] {
			return true
		}
	}
	return d.spoilt[""]
}

// value decodes node into v, by v's type.
func (d *document) value(p *place, node ast.Node, v reflect.Value, words []string) {
	node = d.resolve(p, node)
	if d.size++; node == nil || d.size > mostValues {
		if d.size == mostValues+1 {
			d.problems = append(d.problems, d.problemAt(nil, "the file unfolds to more than %d values; aliases (*) repeat too much", mostValues))
		}
		return
	}
	if v.Kind() == reflect.Pointer {
		v.Set(reflect.New(v.Type().Elem()))
		v = v.Elem()
	}
	if dimension, ok := dimensionOf[v.Type()]; ok {
		d.quantity(p, node, v, dimension)
		return
	}
	switch v.Kind() {
	case reflect.Struct:
		d.mapping(p, node, v)
	case reflect.Slice:
		d.sequence(p, node, v, words)
	case reflect.Map:
		d.named(p, node, v)
	case reflect.String:
		d.text(p, node, v, words)
	case reflect.Bool:
		d.boolean(p, node, v)
	case reflect.Int:
		d.integer(p, node, v, words)
	case reflect.Float64:
		d.number(p, node, v)
	default:
		panic(fmt.Sprintf("configs: a field of type %v cannot be decoded", v.Type()))
	}
}

// resolve follows anchors and aliases; nil after a problem.
func (d *document) resolve(p *place, node ast.Node) ast.Node {
	for range mostAliases {
		switch n := node.(type) {
		case *ast.AnchorNode:
			d.anchors[n.Name.GetToken().Value] = n.Value
			node = n.Value
		case *ast.AliasNode:
			name := n.Value.GetToken().Value
			to, ok := d.anchors[name]
			if !ok {
				d.spoil(p, "*%s refers to nothing above; write &%s before the value it means", name, name)
				return nil
			}
			node = to
		case *ast.TagNode:
			d.spoil(p, "YAML tags (%s) are not used here; remove it", n.GetToken().Value)
			return nil
		case nil, *ast.NullNode:
			d.spoil(p, "has no value")
			return nil
		default:
			return node
		}
	}
	d.spoil(p, "aliases lead to one another without end")
	return nil
}

func (d *document) mapping(p *place, node ast.Node, v reflect.Value) {
	s := shapeOf(v.Type())
	values, ok := entries(node)
	if !ok {
		d.spoil(p, "must be a block of keys: %s", strings.Join(s.names, ", "))
		return
	}
	seen := make([]bool, len(s.fields))
	for _, e := range values {
		name := e.Key.GetToken().Value
		i, known := s.byName[name]
		switch {
		case !known:
			d.unknownKey(p, name, s, seen)
		case s.fields[i].refuse != "":
			d.problem(p.child(name), "%s", s.fields[i].refuse)
		default:
			seen[i] = true
			d.value(p.child(name), e.Value, v.Field(i), s.fields[i].words)
		}
	}
	d.absent(p, v, seen)
}

// unknownKey says what was probably meant; that key is then not missing too.
func (d *document) unknownKey(p *place, name string, s *shape, seen []bool) {
	if name == "<<" {
		d.problem(p.child(name), "YAML merge keys are not used here; write the keys out, or let a whole list be an alias")
		return
	}
	if key, _, glued := strings.Cut(name, ":"); glued {
		if i, known := s.byName[key]; known {
			d.problem(p.child(name), "needs a space after the colon of %s:", key)
			seen[i] = true
			d.unknown(p.child(key))
			return
		}
	}
	d.problem(p.child(name), "unknown key; %s", oneOf(name, s.names))
	if near := nearest(name, s.names); near != "" {
		seen[s.byName[near]] = true
		d.unknown(p.child(near))
	}
}

// absent gives missing keys their default and reports those that are needed.
func (d *document) absent(p *place, v reflect.Value, seen []bool) {
	for i := range shapeOf(v.Type()).fields {
		switch f := &shapeOf(v.Type()).fields[i]; {
		case seen != nil && seen[i]:
		case f.need != "":
			d.spoil(p.child(f.name), "missing; %s", f.need)
		case f.fallback.IsValid():
			v.Field(i).Set(f.fallback)
		case f.nested:
			d.absent(p.child(f.name), v.Field(i), nil)
		}
	}
}

func (d *document) sequence(p *place, node ast.Node, v reflect.Value, words []string) {
	seq, ok := node.(*ast.SequenceNode)
	if !ok {
		d.spoil(p, "must be a list; begin each entry with \"- \"")
		return
	}
	v.Set(reflect.MakeSlice(v.Type(), len(seq.Values), len(seq.Values)))
	for i, item := range seq.Values {
		d.value(p.item(i), item, v.Index(i), words)
	}
}

// named decodes a block whose keys the site chooses.
func (d *document) named(p *place, node ast.Node, v reflect.Value) {
	values, ok := entries(node)
	if !ok {
		d.spoil(p, "must be a block of keys")
		return
	}
	v.Set(reflect.MakeMap(v.Type()))
	for _, e := range values {
		name := e.Key.GetToken().Value
		item := reflect.New(v.Type().Elem()).Elem()
		d.value(p.child(name), e.Value, item, nil)
		v.SetMapIndex(reflect.ValueOf(name), item)
	}
}
