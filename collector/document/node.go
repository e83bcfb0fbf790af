package document

import (
	"fmt"
	"strconv"
	"strings"
)

type position struct{ line, column int }

type kind uint8

const (
	null kind = iota
	text
	number
	boolean
	list
	mapping
)

var kindNames = [...]string{null: "empty", text: "text", number: "a number", boolean: "true or false", list: "a list", mapping: "a group of keys"}

func (k kind) String() string { return kindNames[k] }

// node is one value of a document. In a mapping, items[i] belongs to keys[i].
type node struct {
	position
	kind  kind
	text  string // of a scalar, as written, without quotes
	keys  []*node
	items []*node
}

func (n *node) child(key string) (value *node, ok bool) {
	for i, k := range n.keys {
		if k.text == key {
			return n.items[i], true
		}
	}
	return nil, false
}

// Fault returns a fault at the value that path names, like "$.units[3].poll".
// Where the path leads nowhere the nearest parent gives the position, so a
// missing key is reported at the group that lacks it.
func (f *File) Fault(path, remedy, what string, args ...any) Fault {
	at := f.find(path)
	return Fault{File: f.name, Line: at.line, Column: at.column, What: fmt.Sprintf(what, args...), Remedy: remedy}
}

// Has tells whether path leads to a value that the file gives.
func (f *File) Has(path string) bool {
	n, rest := f.root, strings.TrimPrefix(path, "$")
	for rest != "" {
		next, tail, ok := n.step(rest)
		if !ok {
			return false
		}
		n, rest = next, tail
	}
	return n.kind != null
}

func (f *File) find(path string) position {
	n, rest := f.root, strings.TrimPrefix(path, "$")
	for rest != "" {
		next, tail, ok := n.step(rest)
		if !ok {
			break
		}
		n, rest = next, tail
	}
	return n.position
}

// step follows the first step of a path: ".key" or "[index]". A key may hold
// dots: the longest key that fits wins.
func (n *node) step(path string) (next *node, rest string, ok bool) {
	if path[0] == '[' {
		index, tail, _ := strings.Cut(path[1:], "]")
		i, err := strconv.Atoi(index)
		if err != nil || n.kind != list || i < 0 || i >= len(n.items) {
			return nil, "", false
		}
		return n.items[i], tail, true
	}
	path = strings.TrimPrefix(path, ".")
	best := -1
	for i, k := range n.keys {
		tail, found := strings.CutPrefix(path, k.text)
		ends := tail == "" || tail[0] == '.' || tail[0] == '['
		if found && k.text != "" && ends && (best < 0 || len(k.text) > len(n.keys[best].text)) {
			best = i
		}
	}
	if best < 0 {
		return nil, "", false
	}
	return n.items[best], path[len(n.keys[best].text):], true
}
