package document_test

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/collector/document"
)

type plant struct {
	Name  string              `yaml:"name,required"`
	Sites []site              `yaml:"sites"`
	Notes map[string]string   `yaml:"notes"`
	Codes map[int]string      `yaml:"codes"`
	Loss  *float64            `yaml:"loss"`
	Poll  document.Duration   `yaml:"poll"`
	Wait  *document.Duration  `yaml:"wait"`
	Odd   even                `yaml:"odd"`
	Lists map[string][]string `yaml:"lists"`
	common
	Hidden string
	Off    string `yaml:"-"`
}

type common struct {
	Debug bool   `yaml:"debug"`
	Port  uint16 `yaml:"port"`
	Small int8   `yaml:"small"`
}

type site struct {
	ID    string `yaml:"id,required"`
	Units int    `yaml:"units"`
}

// even is a type with a check of its own.
type even int

func (e *even) UnmarshalText(b []byte) error {
	if len(b)%2 != 0 {
		return errors.New("odd length")
	}
	*e = even(len(b))
	return nil
}

func decode(text string) (plant, document.Faults) {
	f, faults := document.Parse("plant.yaml", []byte(text))
	if len(faults) > 0 {
		return plant{}, faults
	}
	var p plant
	return p, append(faults, f.Decode(&p)...)
}

func TestDecode(t *testing.T) {
	f, faults := document.Parse("plant.yaml", []byte(`
name: 0123
debug: true
port: 65535
small: -128
poll: 1h30m
loss: -1.5e0
odd: 1234
codes: {1: good, 0x10: "on", 3: off, 4: no, -5: yes}
notes:
  text: |
    two
    lines
  folded: >-
    one
    line
  "quoted key": 'it''s'
  v: 1.10
  t: true
lists: {a: [x, y], b: []}
sites:
  - &first {id: a, units: 1_000}
  - *first
  - id: b
`))
	require.Empty(t, faults)
	var p plant
	require.Empty(t, f.Decode(&p))
	loss := -1.5
	require.Equal(t, plant{
		Name:   "0123",
		Sites:  []site{{"a", 1000}, {"a", 1000}, {"b", 0}},
		Notes:  map[string]string{"text": "two\nlines\n", "folded": "one line", "quoted key": "it's", "v": "1.10", "t": "true"},
		Codes:  map[int]string{1: "good", 16: "on", 3: "off", 4: "no", -5: "yes"},
		Loss:   &loss,
		Poll:   document.Duration(90 * time.Minute),
		Odd:    4,
		Lists:  map[string][]string{"a": {"x", "y"}, "b": {}},
		common: common{Debug: true, Port: 65535, Small: -128},
	}, p)
	require.Equal(t, "plant.yaml", f.Name())
}

// TestNumbers: the forms of YAML 1.2.2, 10.3.2; quoted, they are text.
func TestNumbers(t *testing.T) {
	for _, tt := range []struct {
		text string
		want float64
		ok   bool
	}{
		{"1e-9", 1e-9, true}, {"-2E3", -2000, true}, {"1.e2", 100, true}, {".5e1", 5, true}, {"+1e+2", 100, true},
		{"0.25", 0.25, true}, {"-7", -7, true}, {"0x10", 16, true}, {"0o17", 15, true}, {"010", 10, true},
		{`"1e-9"`, 0, false}, {"1e", 0, false}, {"e9", 0, false}, {"1e999", 0, false}, {"1,5", 0, false},
	} {
		p, faults := decode("name: x\nloss: " + tt.text)
		require.Equal(t, tt.ok, len(faults) == 0, "%s: %s", tt.text, faults)
		if tt.ok {
			require.Equal(t, tt.want, *p.Loss, tt.text)
		} else {
			require.Nil(t, p.Loss, "what could not be read is not there")
		}
	}
	p, faults := decode("name: 1e5")
	require.Empty(t, faults)
	require.Equal(t, "1e5", p.Name, "where text is wanted a number is text, as written")
}

func TestAbsentAndNull(t *testing.T) {
	p, faults := decode("name: x\nsites:\nnotes: null\nloss: ~\nwait:\n")
	require.Empty(t, faults)
	require.Equal(t, plant{Name: "x"}, p)
}

func TestFaultsOfOneValue(t *testing.T) {
	for _, tt := range []struct{ text, want string }{
		{"nmae: x\nname: y", `1:1: unknown key "nmae"; did you mean "name"?`},
		{"name: x\nfrequency: 1", `2:1: unknown key "frequency"; use one of: codes, debug, lists, loss, name, notes, odd, poll, port, sites, small, wait`},
		{"name: x\nHidden: y", `2:1: unknown key "Hidden"; use one of: codes, debug, lists, loss, name, notes, odd, poll, port, sites, small, wait`},
		{"poll: 1s", `1:1: key "name" is missing; add it`},
		{"name:", `1:1: key "name" is missing; add it`},
		{`name: ""`, `1:1: key "name" is missing; add it`},
		{"", `1:1: key "name" is missing; add it`},
		{"- name: x", `1:1: the file is a list, not a group of keys; write key: value`},
		{"just text", `1:1: the file is text, not a group of keys; write key: value`},
		{"name: [x]", `1:7: name: is a list, not a single value; give a value or remove the key`},
		{"name: x\npoll: 20", `2:7: poll: "20" is not a duration; write a number with its unit, like 30s, 20m or 1h30m`},
		{"name: x\npoll:", `2:7: poll: is empty, not a single value; write one value`},
		{"name: x\npoll: {}", `2:7: poll: is a group of keys, not a single value; write one value`},
		{"name: x\nodd: abc", `2:6: odd: odd length`},
		{"name: x\nport: 65536", `2:7: port: is 65536, not a whole number from 0 to 65535; write digits only`},
		{"name: x\nport: -1", `2:7: port: is -1, not a whole number from 0 to 65535; write digits only`},
		{"name: x\nport: 1.5", `2:7: port: is 1.5, not a whole number from 0 to 65535; write digits only`},
		{"name: x\nport: '161'", `2:7: port: is text, not a whole number from 0 to 65535; write digits only`},
		{"name: x\nsmall: 128", `2:8: small: is 128, not a whole number from -128 to 127; write digits only`},
		{"name: x\nloss: much", `2:7: loss: is text, not a number; write it with a decimal point and without a unit`},
		{"name: x\nloss: .inf", `2:7: loss: is .inf, not a number; write it with a decimal point and without a unit`},
		{"name: x\nloss: .nan", `2:7: loss: is .nan, not a number; write it with a decimal point and without a unit`},
		{"name: x\ndebug: yes", `2:8: debug: is text, not true or false; write true or false`},
		{"name: x\nsites: {id: a}", `2:8: sites: is a group of keys, not a list; begin each entry with a dash, or write [a, b]`},
		{"name: x\nnotes: [a]", `2:8: notes: is a list, not a group of keys; write key: value`},
		{"name: x\ncodes: {one: a}", `2:9: codes.one: is text, not a whole number; write digits only`},
		{"name: x\nname: y", `2:1: key "name" is given twice; keep one; the first is on line 1`},
		{"name: x\nsites: [{id: a, id: b}]", `2:17: key "id" is given twice; keep one; the first is on line 2`},
		{"name: x\nsites: [*a]", `2:9: alias *a has no anchor; define the anchor before it is used, and not inside itself`},
		{"name: x\nnotes: &n {a: *n}", `2:15: alias *n has no anchor; define the anchor before it is used, and not inside itself`},
		{"name: !!str x", `1:7: tag "!!str" has no meaning here; remove it`},
		{"name: x\nnotes: &n {a: b}\nlists:\n  <<: *n", `4:3: merge keys (<<) are not supported; write the keys out`},
		{"name: x\n---\nname: y", `3:1: a second document begins here; put it into a file of its own`},
	} {
		_, faults := decode(tt.text)
		require.EqualError(t, faults, "plant.yaml:"+tt.want, tt.text)
	}
}

func TestAllFaultsAtOnce(t *testing.T) {
	_, faults := decode(`
nmae: x
poll: 20
sites:
  - {id: a, units: three}
  - {units: 1.5, unit: 4}
  - 7
notes: [1]
codes: {one: x}
debug: yes
`)
	require.EqualError(t, faults, strings.TrimSpace(`
plant.yaml:2:1: unknown key "nmae"; did you mean "name"?
plant.yaml:2:1: key "name" is missing; add it
plant.yaml:3:7: poll: "20" is not a duration; write a number with its unit, like 30s, 20m or 1h30m
plant.yaml:5:20: sites[0].units: is text, not a whole number; write digits only
plant.yaml:6:5: sites[1]: key "id" is missing; add it
plant.yaml:6:13: sites[1].units: is 1.5, not a whole number; write digits only
plant.yaml:6:18: sites[1]: unknown key "unit"; did you mean "units"?
plant.yaml:7:5: sites[2]: is a number, not a group of keys; write key: value
plant.yaml:8:8: notes: is a list, not a group of keys; write key: value
plant.yaml:9:9: codes.one: is text, not a whole number; write digits only
plant.yaml:10:8: debug: is text, not true or false; write true or false`))
}

func TestSyntax(t *testing.T) {
	for _, tt := range []struct {
		text         string
		line, column int
	}{
		{"name: \"x", 1, 7},
		{"name: x\nsites: [a, b", 2, 8},
		{"name: x\n\tpoll: 1s", 2, 1},
		{"a: b: c", 1, 4},
	} {
		_, faults := document.Parse("plant.yaml", []byte(tt.text))
		require.Len(t, faults, 1, tt.text)
		require.Equal(t, tt.line, faults[0].Line, "%q: %s", tt.text, faults)
		require.Equal(t, tt.column, faults[0].Column, "%q: %s", tt.text, faults)
		require.NotEmpty(t, faults[0].Remedy)
		require.NotContains(t, faults[0].What, "\n")
	}
}

// TestNoSecrets: text that stands in a wrong place does not reach the fault.
func TestNoSecrets(t *testing.T) {
	for _, text := range []string{
		"name: [hunter2]", "name: {a: hunter2}", "name: x\nport: hunter2", "name: x\nsites: hunter2",
		"name: x\nnotes: hunter2", "name: x\ndebug: hunter2", "name: \"hunter2", "hunter2", "name: x\nloss: hunter2",
		"name: 'hunter2", "name: x\n  hunter2: y: z",
	} {
		_, faults := decode(text)
		require.NotEmpty(t, faults, text)
		require.NotContains(t, faults.Error(), "hunter2", text)
	}
}

func TestFault(t *testing.T) {
	f, faults := document.Parse("plant.yaml", []byte(`name: x
sites:
  - id: a
    units: 3
  - {id: b}
notes:
  a.b: dotted
  a: plain
`))
	require.Empty(t, faults)
	for _, tt := range []struct {
		path         string
		line, column int
		has          bool
	}{
		{"$", 1, 1, true},
		{"$.name", 1, 7, true},
		{"$.sites", 3, 3, true},
		{"$.sites[0]", 3, 5, true},
		{"$.sites[0].units", 4, 12, true},
		{"$.sites[1].id", 5, 10, true},
		{"$.sites[1].units", 5, 5, false}, // nearest parent
		{"$.sites[2].id", 3, 3, false},
		{"$.sites[-1]", 3, 3, false},
		{"$.sites[x]", 3, 3, false},
		{"$.notes.a.b", 7, 8, true}, // the longest key wins
		{"$.notes.a", 8, 6, true},
		{"$.notes.ab", 7, 3, false},
		{"$.none.at.all", 1, 1, false},
		{"$[", 1, 1, false},
		{"", 1, 1, true},
	} {
		got := f.Fault(tt.path, "do it", "broken %d", 7)
		require.Equal(t, document.Fault{File: "plant.yaml", Line: tt.line, Column: tt.column, What: "broken 7", Remedy: "do it"}, got, tt.path)
		require.Equal(t, tt.has, f.Has(tt.path), tt.path)
	}
}

func TestFaultsSort(t *testing.T) {
	faults := document.Faults{{File: "b", Line: 1, Column: 2, What: "3"}, {File: "a", Line: 9, Column: 1, What: "2"}, {File: "a", Line: 2, Column: 7, What: "1", Remedy: "mend it"}, {File: "a", What: "0"}, {What: "nowhere"}}
	require.EqualError(t, faults.Err(), "nowhere\na: 0\na:2:7: 1; mend it\na:9:1: 2\nb:1:2: 3")
	require.NoError(t, document.Faults{}.Err())
	var one document.Fault
	require.True(t, errors.As(fmt.Errorf("load: %w", faults.Err()), &one))
	require.Equal(t, "nowhere", one.What)
}

func TestNearest(t *testing.T) {
	known := []string{"poll", "name", "time_zone"}
	for _, tt := range []struct{ word, want string }{
		{"pol", `did you mean "poll"?`},
		{"plol", `did you mean "poll"?`},
		{"time", `did you mean "time_zone"?`},
		{"POLL", `did you mean "poll"?`},
		{"timezone", `did you mean "time_zone"?`},
		{"address", "use one of: name, poll, time_zone"},
		{"", "use one of: name, poll, time_zone"},
		{strings.Repeat("x", 500), "use one of: name, poll, time_zone"},
	} {
		require.Equal(t, tt.want, document.Nearest(tt.word, known), tt.word)
	}
	require.Equal(t, "remove it", document.Nearest("x", nil))
	require.Equal(t, "use one of the 100 that exist", document.Nearest("x", strings.Fields(strings.Repeat("abcdef ", 100))))
}

func TestRead(t *testing.T) {
	path := filepath.Join(t.TempDir(), "plant.yaml")
	_, faults := document.Read(path)
	require.ErrorContains(t, faults.Err(), path+": open")
	require.NoError(t, os.WriteFile(path, []byte("name: x"), 0o600))
	f, faults := document.Read(path)
	require.Empty(t, faults)
	require.Equal(t, path, f.Name())
	_, faults = document.Read(t.TempDir())
	require.NotEmpty(t, faults)
}

func TestDecodePanicsOnUnknownField(t *testing.T) {
	f, _ := document.Parse("plant.yaml", []byte("a: 1"))
	require.Panics(t, func() {
		f.Decode(&struct {
			A complex128 `yaml:"a"`
		}{})
	})
}
