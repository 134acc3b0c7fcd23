package configs

import (
	"math"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/goccy/go-yaml/ast"

	"pumpside/drivers/quantity"
)

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

func (d *document) text(p *place, node ast.Node, v reflect.Value, words []string) {
	text, ok := scalar(node)
	switch {
	case !ok:
		d.spoil(p, "must be a text")
	case len(words) > 0 && !slices.Contains(words, text):
		d.spoil(p, "%q is not known; %s", text, oneOf(text, words))
	default:
		v.SetString(text)
	}
}

func (d *document) quantity(p *place, node ast.Node, v reflect.Value, dimension quantity.Dimension) {
	text, ok := scalar(node)
	if !ok {
		d.spoil(p, "must be a %v with its unit, such as %q", dimension, dimension.Example())
		return
	}
	x, err := quantity.Parse(text, dimension)
	switch {
	case err != nil:
		d.spoil(p, "%v", err)
	case v.Type() != reflect.TypeFor[time.Duration]():
		v.SetFloat(x)
	case math.Abs(x) > 200*365*86400:
		d.spoil(p, "%q is longer than 200 years", text)
	default:
		v.SetInt(int64(math.Round(x * float64(time.Second))))
	}
}

func (d *document) boolean(p *place, node ast.Node, v reflect.Value) {
	n, ok := node.(*ast.BoolNode)
	if !ok {
		d.spoil(p, "must be true or false")
		return
	}
	v.SetBool(n.Value)
}

func (d *document) integer(p *place, node ast.Node, v reflect.Value, words []string) {
	text, ok := scalar(node)
	n, err := wholeNumber(text)
	switch {
	case !ok || err != nil:
		d.spoil(p, "must be a whole number such as 12 or 0x0C, not %q", text)
	case len(words) > 0 && !slices.Contains(words, strconv.FormatInt(n, 10)):
		d.spoil(p, "%d is not known; use one of %s", n, strings.Join(words, ", "))
	default:
		v.SetInt(n)
	}
}

// wholeNumber reads decimal as decimal even with leading zeros: a register
// written 010 is ten to the person who wrote it.
func wholeNumber(text string) (int64, error) {
	if digits, hex := strings.CutPrefix(strings.ToLower(text), "0x"); hex {
		return strconv.ParseInt(digits, 16, 64)
	}
	return strconv.ParseInt(text, 10, 64)
}

func (d *document) number(p *place, node ast.Node, v reflect.Value) {
	text, ok := scalar(node)
	x, err := strconv.ParseFloat(text, 64)
	if !ok || err != nil || math.IsNaN(x) || math.IsInf(x, 0) {
		d.spoil(p, "must be a number, not %q", text)
		return
	}
	v.SetFloat(x)
}
