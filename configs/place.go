package configs

import (
	"strconv"

	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/token"
)

// A place is where a value belongs in the file, whether or not it stands
// there: a chain of keys and list positions from the top. Nil is the top.
type place struct {
	in    *place
	key   string
	index int // in a list; -1 for a key
}

// at is the place of a key at the top of the file.
func at(key string) *place { return (*place)(nil).child(key) }

func (p *place) child(key string) *place { return &place{in: p, key: key, index: -1} }

func (p *place) item(i int) *place { return &place{in: p, index: i} }

// String gives what people read, such as "pumps[1].signals.motor_speed".
func (p *place) String() string { return string(p.append(nil)) }

func (p *place) append(text []byte) []byte {
	if p == nil {
		return text
	}
	text = p.in.append(text)
	if p.index >= 0 {
		return append(strconv.AppendInt(append(text, '['), int64(p.index), 10), ']')
	}
	if len(text) > 0 {
		text = append(text, '.')
	}
	return append(text, p.key...)
}

// find gives the node at p, nil when p does not stand in the file, and the
// position of p or of the nearest that stands there and p is in; nil for the
// top. It is called for problems only, so that a good file pays nothing.
func (d *document) find(p *place) (node ast.Node, position *token.Position) {
	if p == nil {
		return d.root, nil
	}
	node, position = d.find(p.in)
	if p.index >= 0 {
		seq, ok := d.follow(node).(*ast.SequenceNode)
		if !ok || p.index >= len(seq.Values) {
			return nil, position
		}
		return seq.Values[p.index], startOf(seq.Values[p.index])
	}
	values, _ := entries(d.follow(node))
	for _, e := range values {
		if e.Key.GetToken().Value == p.key {
			return e.Value, e.Key.GetToken().Position
		}
	}
	return nil, position
}

// startOf is where a node begins; a block's own token is its first colon.
func startOf(node ast.Node) *token.Position {
	if values, ok := entries(node); ok && len(values) > 0 && node.GetToken().Value == ":" {
		return values[0].Key.GetToken().Position
	}
	return node.GetToken().Position
}

// follow gives the node behind anchors and aliases; nil when there is none.
func (d *document) follow(node ast.Node) ast.Node {
	for range mostAliases {
		switch n := node.(type) {
		case *ast.AnchorNode:
			node = n.Value
		case *ast.AliasNode:
			node = d.anchors[n.Value.GetToken().Value]
		default:
			return node
		}
	}
	return nil
}

// mostAliases is how many aliases may lead to one another.
const mostAliases = 20

// entries gives the keys and values of a block of keys.
func entries(node ast.Node) ([]*ast.MappingValueNode, bool) {
	switch n := node.(type) {
	case *ast.MappingNode:
		return n.Values, true
	case *ast.MappingValueNode:
		return []*ast.MappingValueNode{n}, true
	}
	return nil, false
}
