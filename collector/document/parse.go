package document

import (
	"errors"
	"fmt"
	"io"
	"os"
	"regexp"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/lexer"
	"github.com/goccy/go-yaml/parser"
	"github.com/goccy/go-yaml/token"
)

// Limits of a file. They are far above what a fleet of ten thousand units
// needs, and keep a broken or hostile file from taking the daemon down.
const (
	MaxSize   = 16 << 20 // bytes
	MaxDepth  = 64       // levels of nesting
	MaxNodes  = 1 << 20  // values, with aliases expanded
	MaxFaults = 1000     // that one call of Decode returns
)

// A File is a parsed document. It does not change. Safe for concurrent use.
type File struct {
	name string
	root *node
}

// Name returns the name the file was parsed under.
func (f *File) Name() string { return f.name }

// Read parses the file at path.
func Read(path string) (*File, Faults) {
	data, err := readLimited(path)
	if err != nil {
		return nil, Faults{{File: path, What: err.Error(), Remedy: "check the path and that the daemon may read it"}}
	}
	return Parse(path, data)
}

func readLimited(path string) ([]byte, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return io.ReadAll(io.LimitReader(f, MaxSize+1)) // one byte too many: Parse refuses it
}

// Parse reads data as one YAML document; name stands in the faults. An empty
// document is valid. All faults that can be seen without knowing what the
// file means are returned at once, but after a syntax error the rest of the
// file is unknown.
func Parse(name string, data []byte) (file *File, faults Faults) {
	if len(data) > MaxSize {
		return nil, Faults{{File: name, What: fmt.Sprintf("file is larger than %d MiB", MaxSize>>20), Remedy: "split it: several files may be named"}}
	}
	defer func() { // the YAML library is not ours: whatever it does, we return
		if r := recover(); r != nil {
			file, faults = nil, Faults{{File: name, Line: 1, Column: 1, What: "not understood as YAML", Remedy: "look for unbalanced quotes or brackets and for tabs"}}
		}
	}()
	tokens := lexer.Tokenize(string(data))
	if t := tooDeep(tokens); t != nil {
		return nil, Faults{{File: name, Line: t.Position.Line, Column: t.Position.Column, What: fmt.Sprintf("nested deeper than %d levels", MaxDepth), Remedy: "use the layout of the documentation"}}
	}
	tree, err := parser.Parse(tokens, 0, parser.AllowDuplicateMapKey())
	if err != nil {
		return nil, Faults{syntaxFault(name, err)}
	}
	c := converter{name: name, anchors: map[string]*node{}}
	root := c.document(tree)
	if len(c.faults) > 0 {
		return nil, c.faults.Sorted()
	}
	return &File{name: name, root: root}, nil
}

func syntaxFault(name string, err error) Fault {
	f := Fault{File: name, Line: 1, Column: 1, What: "not valid YAML: " + err.Error(), Remedy: "correct the line; indentation is by spaces only"}
	var e yaml.Error
	if errors.As(err, &e) {
		f.What = "not valid YAML: " + e.GetMessage()
		if t := e.GetToken(); t != nil && t.Position != nil {
			f.Line, f.Column = max(1, t.Position.Line), max(1, t.Position.Column)
		}
	}
	return f
}

// tooDeep returns a token at which the nesting exceeds what the recursive
// parser can be trusted with, or nil.
func tooDeep(tokens token.Tokens) *token.Token {
	const maxIndent = 8 * MaxDepth
	flow, line, run := 0, 0, 0
	for _, t := range tokens {
		if t.Position == nil {
			continue
		}
		if t.Position.Line != line && flow == 0 {
			line, run = t.Position.Line, 0
			if t.Position.Column > maxIndent {
				return t
			}
		}
		switch t.Type {
		case token.SequenceStartType, token.MappingStartType:
			flow++
		case token.SequenceEndType, token.MappingEndType:
			flow = max(0, flow-1)
		case token.SequenceEntryType, token.MappingKeyType, token.AnchorType, token.TagType:
			run++
		case token.CollectEntryType:
			run = 0
		case token.MappingValueType:
			if flow == 0 {
				run++
			}
		}
		if flow > MaxDepth || run > MaxDepth {
			return t
		}
	}
	return nil
}

// converter turns the library's tree into ours: scalars, lists and maps with
// positions, aliases resolved. A node that an alias names is shared.
type converter struct {
	name    string
	anchors map[string]*node
	faults  Faults
	depth   int
}

func (c *converter) fault(p position, remedy, what string, args ...any) {
	c.faults = append(c.faults, Fault{File: c.name, Line: p.line, Column: p.column, What: fmt.Sprintf(what, args...), Remedy: remedy})
}

func (c *converter) document(tree *ast.File) *node {
	root := &node{position: position{1, 1}, kind: null}
	for i, doc := range tree.Docs {
		if doc == nil || doc.Body == nil {
			continue
		}
		if i > 0 {
			c.fault(positionOf(doc.Body), "put it into a file of its own", "a second document begins here")
			break
		}
		root = c.node(doc.Body)
	}
	return root
}

func (c *converter) node(n ast.Node) *node {
	c.depth++
	defer func() { c.depth-- }()
	out := &node{position: positionOf(n), kind: null}
	if c.depth > MaxDepth {
		if c.depth == MaxDepth+1 {
			c.fault(out.position, "use the layout of the documentation", "nested deeper than %d levels", MaxDepth)
		}
		return out
	}
	switch n := n.(type) {
	case nil, *ast.NullNode:
	case *ast.MappingNode:
		c.mapping(out, n.Values)
	case *ast.MappingValueNode:
		c.mapping(out, []*ast.MappingValueNode{n})
	case *ast.SequenceNode:
		out.kind = list
		for _, item := range n.Values {
			out.items = append(out.items, c.node(item))
		}
	case *ast.AnchorNode:
		out = c.node(n.Value)
		c.anchors[nameOf(n.Name)] = out
	case *ast.AliasNode:
		return c.alias(n, out.position)
	case *ast.TagNode:
		c.fault(out.position, "remove it", "tag %q has no meaning here", n.Start.Value)
		return c.node(n.Value)
	default:
		c.scalar(out, n)
	}
	return out
}

func (c *converter) alias(n *ast.AliasNode, at position) *node {
	name := nameOf(n.Value)
	if known, ok := c.anchors[name]; ok {
		return known
	}
	c.fault(at, "define the anchor before it is used, and not inside itself", "alias *%s has no anchor", name)
	return &node{position: at, kind: null}
}

func (c *converter) mapping(out *node, values []*ast.MappingValueNode) {
	out.kind = mapping
	seen := make(map[string]position, len(values))
	for _, v := range values {
		at := positionOf(v.Key)
		key := c.key(v.Key, at)
		if key == nil {
			continue
		}
		if first, twice := seen[key.text]; twice {
			c.fault(at, fmt.Sprintf("keep one; the first is on line %d", first.line), "key %q is given twice", key.text)
			continue
		}
		seen[key.text] = at
		out.keys = append(out.keys, key)
		out.items = append(out.items, c.node(v.Value))
	}
}

func (c *converter) key(k ast.MapKeyNode, at position) *node {
	if k == nil {
		return nil
	}
	if k.IsMergeKey() {
		c.fault(at, "write the keys out", "merge keys (<<) are not supported")
		return nil
	}
	key := &node{position: at}
	var n ast.Node = k
	if marked, ok := k.(*ast.MappingKeyNode); ok { // "? key"
		n = marked.Value
	}
	c.scalar(key, n)
	return key
}

func (c *converter) scalar(out *node, n ast.Node) {
	out.kind = text
	switch n := n.(type) {
	case *ast.StringNode:
		out.text = n.Value
		if n.Token.Type == token.StringType && exponent.MatchString(n.Value) {
			out.kind = number
		}
	case *ast.LiteralNode:
		out.text = n.Value.Value
	case *ast.IntegerNode, *ast.FloatNode, *ast.InfinityNode, *ast.NanNode:
		out.kind, out.text = number, n.GetToken().Value
	case *ast.BoolNode:
		out.kind, out.text = boolean, n.Token.Value
	case *ast.NullNode:
		out.kind, out.text = null, n.Token.Value
	default:
		c.fault(out.position, "use text, a number, true or false", "a value of this kind is not supported here")
	}
}

// exponent is a number with an exponent (YAML 1.2.2, 10.3.2), which the
// library takes for text when it has no decimal point.
var exponent = regexp.MustCompile(`^[-+]?(\.[0-9]+|[0-9]+(\.[0-9]*)?)[eE][-+]?[0-9]+$`)

func nameOf(n ast.Node) string {
	if n == nil || n.GetToken() == nil {
		return ""
	}
	return n.GetToken().Value
}

func positionOf(n ast.Node) position {
	if n == nil {
		return position{1, 1}
	}
	t := n.GetToken()
	switch m := n.(type) { // their own token is the first colon
	case *ast.MappingNode:
		if !m.IsFlowStyle && len(m.Values) > 0 {
			return positionOf(m.Values[0])
		}
	case *ast.MappingValueNode:
		if m.Key != nil {
			t = m.Key.GetToken()
		}
	}
	if t == nil || t.Position == nil {
		return position{1, 1}
	}
	return position{max(1, t.Position.Line), max(1, t.Position.Column)}
}
