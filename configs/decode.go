package configs

import (
	"errors"
	"fmt"
	"math"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/parser"
	"github.com/goccy/go-yaml/token"

	"pumpside/drivers/quantity"
)

// The file's Go types say everything about a key in its field's tags:
//
//	yaml:"bore"       its name in the file
//	need:"why"        it may not be missing; what to write, in words
//	default:"500 ms"  what counts when it is missing
//	words:"a b c"     the words it may be
//	doc:"…"           one sentence for people
//
// A quantity's dimension follows from its Go type.

// dimensionOf is the dimension of each Go type a file's field may have.
var dimensionOf = map[reflect.Type]quantity.Dimension{
	reflect.TypeFor[time.Duration]():                   quantity.Duration,
	reflect.TypeFor[quantity.Pascals]():                quantity.Pressure,
	reflect.TypeFor[quantity.Celsius]():                quantity.Temperature,
	reflect.TypeFor[quantity.Meters]():                 quantity.Length,
	reflect.TypeFor[quantity.CubicMeters]():            quantity.Volume,
	reflect.TypeFor[quantity.CubicMetersPerSecond]():   quantity.Flow,
	reflect.TypeFor[quantity.RevolutionsPerMinute]():   quantity.Speed,
	reflect.TypeFor[quantity.Hertz]():                  quantity.Frequency,
	reflect.TypeFor[quantity.Amperes]():                quantity.Current,
	reflect.TypeFor[quantity.NewtonMeters]():           quantity.Torque,
	reflect.TypeFor[quantity.Watts]():                  quantity.Power,
	reflect.TypeFor[quantity.Ratio]():                  quantity.Share,
	reflect.TypeFor[quantity.PerPascal]():              quantity.Compressible,
	reflect.TypeFor[quantity.KilogramsPerCubicMeter](): quantity.Density,
}

// A document is a parsed file: its values and where each key stands.
type document struct {
	file     string
	places   map[string]*token.Position
	anchors  map[string]ast.Node
	problems Problems
}

// decode reads text into into, a pointer to a struct, and collects every
// problem of form: syntax, unknown and missing keys, wrong types and units.
func decode(file string, text []byte, into any) *document {
	d := &document{file: file, places: map[string]*token.Position{}, anchors: map[string]ast.Node{}}
	tree, err := parser.ParseBytes(text, 0)
	if err != nil {
		d.syntax(err)
		return d
	}
	var bodies []*ast.DocumentNode
	for _, doc := range tree.Docs {
		if doc.Body != nil {
			bodies = append(bodies, doc)
		}
	}
	switch {
	case len(bodies) == 0:
		d.problem("", "the file is empty; start from the reference configuration (site, buses, devices, pumps)")
		return d
	case len(tree.Docs) > 1:
		d.problem("", "the file holds more than one YAML document; remove the line with only ---")
		return d
	}
	d.value("", bodies[0].Body, reflect.ValueOf(into).Elem(), "")
	return d
}

func (d *document) syntax(err error) {
	p := Problem{File: d.file, Text: "not YAML: " + err.Error()}
	if e, ok := errors.AsType[yaml.Error](err); ok {
		p.Text = "not YAML: " + strings.TrimSpace(e.GetMessage())
		if t := e.GetToken(); t != nil && t.Position != nil {
			p.Line, p.Column = t.Position.Line, t.Position.Column
		}
	}
	d.problems = append(d.problems, p)
}

// problem notes a problem at key, or at its nearest ancestor that stands in
// the file.
func (d *document) problem(key, format string, args ...any) {
	p := Problem{File: d.file, Key: key, Text: fmt.Sprintf(format, args...)}
	for k := key; ; k = parent(k) {
		if at := d.places[k]; at != nil {
			p.Line, p.Column = at.Line, at.Column
			break
		}
		if k == "" {
			break
		}
	}
	d.problems = append(d.problems, p)
}

// has reports whether key stands in the file.
func (d *document) has(key string) bool { return d.places[key] != nil }

func parent(key string) string { return key[:max(strings.LastIndexAny(key, ".["), 0)] }

func child(key, name string) string {
	if key == "" {
		return name
	}
	return key + "." + name
}

// value decodes node into v, by v's kind.
func (d *document) value(key string, node ast.Node, v reflect.Value, words string) {
	node = d.resolve(key, node)
	if node == nil {
		return
	}
	if d.places[key] == nil && key != "" {
		d.places[key] = node.GetToken().Position
	}
	if v.Kind() == reflect.Pointer {
		v.Set(reflect.New(v.Type().Elem()))
		v = v.Elem()
	}
	if dimension, ok := dimensionOf[v.Type()]; ok {
		d.quantity(key, node, v, dimension)
		return
	}
	switch v.Kind() {
	case reflect.Struct:
		d.mapping(key, node, v)
	case reflect.Slice:
		d.sequence(key, node, v, words)
	case reflect.Map:
		d.named(key, node, v)
	case reflect.String:
		d.text(key, node, v, words)
	case reflect.Bool:
		d.boolean(key, node, v)
	case reflect.Int:
		d.integer(key, node, v)
	case reflect.Float64:
		d.number(key, node, v)
	default:
		panic(fmt.Sprintf("configs: field type %v of %s is not decodable", v.Type(), key))
	}
}

// resolve follows anchors and aliases; nil after a problem.
func (d *document) resolve(key string, node ast.Node) ast.Node {
	switch n := node.(type) {
	case *ast.AnchorNode:
		d.anchors[n.Name.GetToken().Value] = n.Value
		return d.resolve(key, n.Value)
	case *ast.AliasNode:
		name := n.Value.GetToken().Value
		if to, ok := d.anchors[name]; ok {
			return d.resolve(key, to)
		}
		d.problem(key, "*%s refers to nothing above; write &%s before the value it means", name, name)
		return nil
	case *ast.TagNode:
		d.problem(key, "YAML tags (%s) are not used here; remove it", n.GetToken().Value)
		return nil
	case *ast.NullNode:
		d.problem(key, "has no value")
		return nil
	}
	return node
}

func entries(node ast.Node) ([]*ast.MappingValueNode, bool) {
	switch n := node.(type) {
	case *ast.MappingNode:
		return n.Values, true
	case *ast.MappingValueNode:
		return []*ast.MappingValueNode{n}, true
	}
	return nil, false
}

func (d *document) mapping(key string, node ast.Node, v reflect.Value) {
	values, ok := entries(node)
	if !ok {
		d.problem(key, "must be a block of keys: %s", strings.Join(keysOf(v.Type()), ", "))
		return
	}
	fields := fieldsOf(v.Type())
	seen := map[string]bool{}
	for _, e := range values {
		name := e.Key.GetToken().Value
		at := child(key, name)
		d.places[at] = e.Key.GetToken().Position
		f, known := fields[name]
		if !known {
			d.problem(at, "unknown key; %s", oneOf(name, keysOf(v.Type())))
			continue
		}
		seen[name] = true
		d.value(at, e.Value, v.FieldByIndex(f.Index), f.Tag.Get("words"))
	}
	d.absent(key, v, seen)
}

// absent gives missing keys their default and reports those that are needed.
func (d *document) absent(key string, v reflect.Value, seen map[string]bool) {
	for _, name := range keysOf(v.Type()) {
		f := fieldsOf(v.Type())[name]
		field := v.FieldByIndex(f.Index)
		switch {
		case seen[name]:
		case f.Tag.Get("need") != "":
			d.problem(child(key, name), "missing; %s", f.Tag.Get("need"))
		case f.Tag.Get("default") != "":
			setDefault(field, f.Tag.Get("default"))
		case field.Kind() == reflect.Struct && dimensionOf[field.Type()] == quantity.None:
			d.absent(child(key, name), field, nil)
		}
	}
}

// setDefault puts a tag's default into a field; a wrong tag is our own error.
func setDefault(v reflect.Value, text string) {
	scratch := &document{places: map[string]*token.Position{}}
	tree, err := parser.ParseBytes([]byte(text), 0)
	if err != nil {
		panic(err)
	}
	scratch.value("default", tree.Docs[0].Body, v, "")
	if len(scratch.problems) > 0 {
		panic(scratch.problems.Error())
	}
}

func (d *document) sequence(key string, node ast.Node, v reflect.Value, words string) {
	seq, ok := node.(*ast.SequenceNode)
	if !ok {
		d.problem(key, "must be a list; begin each entry with \"- \"")
		return
	}
	v.Set(reflect.MakeSlice(v.Type(), len(seq.Values), len(seq.Values)))
	for i, item := range seq.Values {
		d.value(fmt.Sprintf("%s[%d]", key, i), item, v.Index(i), words)
	}
}

// named decodes a block whose keys the site chooses.
func (d *document) named(key string, node ast.Node, v reflect.Value) {
	values, ok := entries(node)
	if !ok {
		d.problem(key, "must be a block of keys")
		return
	}
	v.Set(reflect.MakeMap(v.Type()))
	for _, e := range values {
		name := e.Key.GetToken().Value
		at := child(key, name)
		d.places[at] = e.Key.GetToken().Position
		item := reflect.New(v.Type().Elem()).Elem()
		d.value(at, e.Value, item, "")
		v.SetMapIndex(reflect.ValueOf(name), item)
	}
}

// scalar gives the text of a plain value and whether it is one.
func scalar(node ast.Node) (string, bool) {
	switch n := node.(type) {
	case *ast.StringNode:
		return n.Value, true
	case *ast.LiteralNode:
		return n.Value.Value, true
	case *ast.IntegerNode, *ast.FloatNode, *ast.BoolNode, *ast.InfinityNode, *ast.NanNode:
		return n.GetToken().Value, true
	}
	return "", false
}

func (d *document) text(key string, node ast.Node, v reflect.Value, words string) {
	text, ok := scalar(node)
	if !ok {
		d.problem(key, "must be a text")
		return
	}
	if known := strings.Fields(words); len(known) > 0 && !slices.Contains(known, text) {
		d.problem(key, "%q is not known; %s", text, oneOf(text, known))
		return
	}
	v.SetString(text)
}

func (d *document) quantity(key string, node ast.Node, v reflect.Value, dimension quantity.Dimension) {
	text, ok := scalar(node)
	if !ok {
		d.problem(key, "must be a %v with its unit, such as %q", dimension, dimension.Example())
		return
	}
	x, err := quantity.Parse(text, dimension)
	switch {
	case err != nil:
		d.problem(key, "%v", err)
	case v.Type() != reflect.TypeFor[time.Duration]():
		v.SetFloat(x)
	case math.Abs(x) > 200*365*86400:
		d.problem(key, "%q is longer than 200 years", text)
	default:
		v.SetInt(int64(math.Round(x * float64(time.Second))))
	}
}

func (d *document) boolean(key string, node ast.Node, v reflect.Value) {
	n, ok := node.(*ast.BoolNode)
	if !ok {
		d.problem(key, "must be true or false")
		return
	}
	v.SetBool(n.Value)
}

func (d *document) integer(key string, node ast.Node, v reflect.Value) {
	text, ok := scalar(node)
	n, err := wholeNumber(text)
	if !ok || err != nil {
		d.problem(key, "must be a whole number such as 12 or 0x0C, not %q", text)
		return
	}
	v.SetInt(n)
}

// wholeNumber reads decimal as decimal even with leading zeros: a register
// written 010 is ten to the person who wrote it.
func wholeNumber(text string) (int64, error) {
	if digits, hex := strings.CutPrefix(strings.ToLower(text), "0x"); hex {
		return strconv.ParseInt(digits, 16, 64)
	}
	return strconv.ParseInt(text, 10, 64)
}

func (d *document) number(key string, node ast.Node, v reflect.Value) {
	text, ok := scalar(node)
	x, err := strconv.ParseFloat(text, 64)
	if !ok || err != nil || math.IsNaN(x) || math.IsInf(x, 0) {
		d.problem(key, "must be a number, not %q", text)
		return
	}
	v.SetFloat(x)
}

func fieldsOf(t reflect.Type) map[string]reflect.StructField {
	fields := map[string]reflect.StructField{}
	for f := range t.Fields() {
		fields[f.Tag.Get("yaml")] = f
	}
	return fields
}

func keysOf(t reflect.Type) []string {
	var keys []string
	for f := range t.Fields() {
		keys = append(keys, f.Tag.Get("yaml"))
	}
	return keys
}
