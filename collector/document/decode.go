package document

import (
	"encoding"
	"errors"
	"fmt"
	"math"
	"reflect"
	"strconv"
	"strings"
)

// Decode fills into, a pointer to a struct, from the file and returns every
// fault. A field's key is its yaml tag; "-" hides a field, ",required" makes
// its absence a fault, fields of an embedded struct count as the outer one's.
//
// Fields may be text, numbers, booleans, durations and other
// encoding.TextUnmarshaler, structs, slices, maps with text or integer keys,
// and pointers to these; a pointer stays nil when the key is absent. What is
// filled despite faults is usable to look for more of them. Decode panics on
// a field type it does not know, which is a programmer's mistake.
func (f *File) Decode(into any) Faults {
	d := decoder{file: f}
	d.value(f.root, reflect.ValueOf(into).Elem(), nil)
	return d.faults.Sorted()
}

type decoder struct {
	file   *File
	faults Faults
	nodes  int
}

func (d *decoder) fault(n *node, at *trail, remedy, what string, args ...any) {
	switch len(d.faults) {
	case MaxFaults + 1:
		return
	case MaxFaults:
		what, remedy, args, at = "more than %d faults; the others are not shown", "correct these first", []any{MaxFaults}, nil
	}
	what = fmt.Sprintf(what, args...)
	switch {
	case at != nil:
		what = at.String() + ": " + what
	case strings.HasPrefix(what, "is "):
		what = "the file " + what
	}
	d.faults = append(d.faults, Fault{File: d.file.name, Line: n.line, Column: n.column, What: what, Remedy: remedy})
}

func (d *decoder) value(n *node, v reflect.Value, at *trail) {
	if d.nodes++; d.nodes > MaxNodes {
		if d.nodes == MaxNodes+1 {
			d.fault(n, at, "use fewer aliases", "more than %d values", MaxNodes)
		}
		return
	}
	if u, ok := v.Addr().Interface().(encoding.TextUnmarshaler); ok {
		d.unmarshal(n, u, at)
		return
	}
	switch v.Kind() {
	case reflect.Pointer:
		if n.kind == null {
			return
		}
		v.Set(reflect.New(v.Type().Elem()))
		before := len(d.faults)
		if d.value(n, v.Elem(), at); len(d.faults) > before && n.kind != mapping {
			v.SetZero() // a value that could not be read is none
		}
	case reflect.Struct:
		d.group(n, v, at)
	case reflect.Slice:
		d.list(n, v, at)
	case reflect.Map:
		d.table(n, v, at)
	default:
		d.scalar(n, v, at)
	}
}

func (d *decoder) unmarshal(n *node, u encoding.TextUnmarshaler, at *trail) {
	if !n.scalar() {
		d.fault(n, at, "write one value", "is %s, not a single value", n.kind)
		return
	}
	err := u.UnmarshalText([]byte(n.text))
	var f Fault
	switch {
	case errors.As(err, &f):
		d.fault(n, at, f.Remedy, "%s", f.What)
	case err != nil:
		d.fault(n, at, "", "%s", err)
	}
}

func (n *node) scalar() bool { return n.kind == text || n.kind == number || n.kind == boolean }

func (n *node) empty() bool { return n.kind == null || n.kind == text && n.text == "" }

func (d *decoder) list(n *node, v reflect.Value, at *trail) {
	if n.kind == null {
		return
	}
	if n.kind != list {
		d.fault(n, at, "begin each entry with a dash, or write [a, b]", "is %s, not a list", n.kind)
		return
	}
	v.Set(reflect.MakeSlice(v.Type(), len(n.items), len(n.items)))
	for i, item := range n.items {
		d.value(item, v.Index(i), &trail{up: at, index: i})
	}
}

func (d *decoder) table(n *node, v reflect.Value, at *trail) {
	if n.kind == null {
		return
	}
	if n.kind != mapping {
		d.fault(n, at, "write key: value", "is %s, not a group of keys", n.kind)
		return
	}
	v.Set(reflect.MakeMapWithSize(v.Type(), len(n.items)))
	for i, k := range n.keys {
		key := reflect.New(v.Type().Key()).Elem()
		before := len(d.faults)
		d.scalar(k, key, &trail{up: at, key: k.text})
		item := reflect.New(v.Type().Elem()).Elem()
		d.value(n.items[i], item, &trail{up: at, key: k.text})
		if len(d.faults) == before {
			v.SetMapIndex(key, item)
		}
	}
}

func (d *decoder) group(n *node, v reflect.Value, at *trail) {
	if n.kind != mapping && n.kind != null {
		d.fault(n, at, "write key: value", "is %s, not a group of keys", n.kind)
		return
	}
	fields := map[string]field{}
	var order []string
	collect(v, fields, &order)
	for i, k := range n.keys {
		f, ok := fields[k.text]
		if !ok {
			d.fault(k, at, Nearest(k.text, order), "unknown key %q", k.text)
			continue
		}
		if !f.required || !n.items[i].empty() { // a required key without a value is told below
			d.value(n.items[i], f.value, &trail{up: at, key: k.text})
		}
	}
	for _, name := range order {
		if given, ok := n.child(name); fields[name].required && (!ok || given.empty()) {
			d.fault(n, at, "add it", "key %q is missing", name)
		}
	}
}

type field struct {
	value    reflect.Value
	required bool
}

func collect(v reflect.Value, into map[string]field, order *[]string) {
	for i := range v.NumField() {
		t := v.Type().Field(i)
		name, options, _ := strings.Cut(t.Tag.Get("yaml"), ",")
		switch {
		case t.Anonymous && name == "":
			collect(v.Field(i), into, order)
		case name != "" && name != "-":
			into[name] = field{v.Field(i), options == "required"}
			*order = append(*order, name)
		}
	}
}

// trail is the way to a value, from the value up. It costs nothing unless a
// fault needs it.
type trail struct {
	up    *trail
	key   string // "": index counts
	index int
}

// String returns the way as in sites[3].poll.
func (t *trail) String() string {
	switch {
	case t == nil:
		return ""
	case t.key == "":
		return t.up.String() + "[" + strconv.Itoa(t.index) + "]"
	case t.up == nil:
		return t.key
	default:
		return t.up.String() + "." + t.key
	}
}

func (d *decoder) scalar(n *node, v reflect.Value, at *trail) {
	if !n.scalar() {
		d.fault(n, at, "give a value or remove the key", "is %s, not a single value", n.kind)
		return
	}
	var ok bool
	var want, example string
	switch v.Kind() {
	case reflect.String:
		v.SetString(n.text) // a number or true is text too where text is wanted
		return
	case reflect.Bool:
		ok, want, example = n.kind == boolean, "true or false", "write true or false"
		v.SetBool(n.kind == boolean && strings.EqualFold(n.text, "true"))
	case reflect.Int, reflect.Int8, reflect.Int16, reflect.Int32, reflect.Int64:
		i, err := parseInt(n.text)
		if ok = err == nil && n.kind == number && !v.OverflowInt(i); ok {
			v.SetInt(i)
		}
		want, example = "a whole number", "write digits only"
		if bits := v.Type().Bits(); bits < 32 {
			want += fmt.Sprintf(" from %d to %d", -1<<(bits-1), 1<<(bits-1)-1)
		}
	case reflect.Uint, reflect.Uint8, reflect.Uint16, reflect.Uint32, reflect.Uint64:
		i, err := parseInt(n.text)
		if ok = err == nil && n.kind == number && i >= 0 && !v.OverflowUint(uint64(i)); ok {
			v.SetUint(uint64(i))
		}
		want, example = "a whole number from 0", "write digits only"
		if bits := v.Type().Bits(); bits < 32 {
			want += fmt.Sprintf(" to %d", 1<<bits-1)
		}
	case reflect.Float32, reflect.Float64:
		x, err := parseFloat(n.text)
		if ok = err == nil && n.kind == number; ok {
			v.SetFloat(x)
		}
		want, example = "a number", "write it with a decimal point and without a unit"
	default:
		panic(fmt.Sprintf("document: a field of type %s at %s cannot be decoded", v.Type(), at))
	}
	if !ok {
		d.fault(n, at, example, "%s, not %s", describe(n), want)
	}
}

// describe names a scalar for a fault. Text is not quoted: see the package.
func describe(n *node) string {
	if n.kind == text {
		return "is text"
	}
	return "is " + n.text
}

// parseInt reads decimal digits, or hexadecimal and octal with 0x and 0o.
func parseInt(s string) (int64, error) {
	s = strings.ReplaceAll(s, "_", "")
	digits := strings.TrimLeft(s, "+-")
	if strings.HasPrefix(digits, "0x") || strings.HasPrefix(digits, "0o") {
		return strconv.ParseInt(s, 0, 64)
	}
	return strconv.ParseInt(s, 10, 64)
}

func parseFloat(s string) (float64, error) {
	if i, err := parseInt(s); err == nil {
		return float64(i), nil
	}
	x, err := strconv.ParseFloat(strings.ReplaceAll(s, "_", ""), 64)
	if err == nil && (math.IsInf(x, 0) || math.IsNaN(x)) {
		return 0, errors.New("not finite")
	}
	return x, err
}
