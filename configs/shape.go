package configs

import (
	"fmt"
	"reflect"
	"strings"
	"sync"
	"time"

	"github.com/goccy/go-yaml/parser"

	"pumpside/drivers/quantity"
)

// The file's Go types say everything about a key in its field's tags:
//
//	yaml:"bore"       its name in the file
//	need:"why"        it may not be missing; what to write, in words
//	default:"500 ms"  what counts when it is missing
//	words:"a b c"     the words it may be
//	refuse:"reason"   nobody may write it, for that reason of refusals
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
	reflect.TypeFor[quantity.Watts]():                  quantity.Power,
	reflect.TypeFor[quantity.Joules]():                 quantity.Energy,
	reflect.TypeFor[quantity.KilogramsPerCubicMeter](): quantity.Density,
	reflect.TypeFor[quantity.Ratio]():                  quantity.Share,
}

// refusals say why a key that people are likely to write is refused.
var refusals = map[string]string{
	"data bits":    "RTU has 8 data bits and no other; leave it out",
	"bare strokes": "say strokes_per_plunger: makers count the strokes of one plunger, which are the pump's revolutions; discharge strokes are cylinders times as many",
}

// A shape is what is known of one struct type of the file.
type shape struct {
	fields []field
	byName map[string]int // place in fields
	names  []string       // of what may be written
}

// A field is one key of a shape.
type field struct {
	name, need, refuse string
	doc, written       string // written: the default as its tag has it
	words              []string
	fallback           reflect.Value // what the default tag means; invalid without one
	nested             bool          // a block that may be left out and has defaults inside
}

// shapes are cached, for reading tags is slow and a file has thousands of
// points.
var shapes sync.Map // reflect.Type → *shape

func shapeOf(t reflect.Type) *shape {
	if s, ok := shapes.Load(t); ok {
		return s.(*shape)
	}
	s := &shape{byName: map[string]int{}}
	for f := range t.Fields() {
		one := field{
			name: f.Tag.Get("yaml"), need: f.Tag.Get("need"), refuse: refusals[f.Tag.Get("refuse")], doc: f.Tag.Get("doc"),
			words:  strings.Fields(f.Tag.Get("words")),
			nested: f.Type.Kind() == reflect.Struct,
		}
		if one.written = f.Tag.Get("default"); one.written != "" {
			one.fallback = valueOf(f.Type, one.written)
		}
		if one.refuse == "" {
			s.names = append(s.names, one.name)
		} else {
			one.nested = false
		}
		s.byName[one.name] = len(s.fields)
		s.fields = append(s.fields, one)
	}
	kept, _ := shapes.LoadOrStore(t, s)
	return kept.(*shape)
}

// valueOf decodes the text of a default tag; a wrong one is our own mistake.
func valueOf(t reflect.Type, text string) reflect.Value {
	v := reflect.New(t).Elem()
	tree, err := parser.ParseBytes([]byte(text), 0)
	if err != nil {
		panic(err)
	}
	d := &document{}
	d.value(nil, tree.Docs[0].Body, v, nil)
	if len(d.problems) > 0 {
		panic(fmt.Sprintf("configs: default %q of a %v: %v", text, t, d.problems))
	}
	return v
}
