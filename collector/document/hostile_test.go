package document_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/collector/document"
)

// TestHostile: input made to exhaust stack, memory or time ends in faults.
func TestHostile(t *testing.T) {
	const many = 200_000
	for name, text := range map[string]string{
		"open lists":       strings.Repeat("[", many),
		"open groups":      strings.Repeat("{a: ", many),
		"dashes":           strings.Repeat("- ", many),
		"question marks":   strings.Repeat("? ", many),
		"anchors":          strings.Repeat("&a ", many),
		"tags":             strings.Repeat("!a ", many),
		"colons":           strings.Repeat("a: ", many),
		"staircase":        staircase(600),
		"lists one deeper": strings.Repeat("[", document.MaxDepth+1) + strings.Repeat("]", document.MaxDepth+1),
		"too large":        strings.Repeat("#", document.MaxSize+1),
		"quotes":           strings.Repeat(`"a`, many),
		"zero bytes":       "a: \x00\x00\nb: [\x00",
		"not UTF-8":        "name: \xff\xfe\nb: [",
	} {
		t.Run(name, func(t *testing.T) {
			begin := time.Now()
			_, faults := document.Parse("hostile.yaml", []byte(text))
			require.NotEmpty(t, faults)
			require.NotEmpty(t, faults[0].Remedy)
			require.Less(t, time.Since(begin), 20*time.Second)
		})
	}
}

func staircase(n int) string {
	var b strings.Builder
	for i := range n {
		fmt.Fprintf(&b, "%sa:\n", strings.Repeat(" ", i))
	}
	return b.String()
}

func TestDepthAllowed(t *testing.T) {
	_, faults := document.Parse("deep.yaml", []byte(staircase(document.MaxDepth-1)))
	require.Empty(t, faults)
	_, faults = document.Parse("deep.yaml", []byte(staircase(document.MaxDepth+2)))
	require.ErrorContains(t, faults.Err(), "nested deeper than 64 levels")
	require.Len(t, faults, 1)
}

// TestAliasExpansion: a few lines of aliases that name ten to the ninth
// values are cut off at MaxNodes.
func TestAliasExpansion(t *testing.T) {
	var b strings.Builder
	b.WriteString("lists:\n  l0: &l0 [x, x, x, x, x, x, x, x, x, x]\n")
	for i := 1; i < 9; i++ {
		fmt.Fprintf(&b, "  l%d: &l%d [%s]\n", i, i, strings.TrimSuffix(strings.Repeat(fmt.Sprintf("*l%d, ", i-1), 10), ", "))
	}
	f, faults := document.Parse("bomb.yaml", []byte(b.String()))
	require.Empty(t, faults)
	var into struct {
		Lists struct {
			L8 [][][][][][][][][]string `yaml:"l8"`
		} `yaml:"lists"`
	}
	faults = f.Decode(&into)
	require.ErrorContains(t, faults.Err(), fmt.Sprintf("more than %d values; use fewer aliases", document.MaxNodes))
	require.Len(t, faults, 9, "eight unknown keys and this")
}

func TestManyFaults(t *testing.T) {
	f, faults := document.Parse("many.yaml", []byte("sites: ["+strings.Repeat("{units: many}, ", document.MaxFaults)+"]"))
	require.Empty(t, faults)
	var p plant
	faults = f.Decode(&p)
	require.Len(t, faults, document.MaxFaults+1)
	require.ErrorContains(t, faults.Err(), fmt.Sprintf("more than %d faults; the others are not shown; correct these first", document.MaxFaults))
}

func FuzzDecode(f *testing.F) {
	for _, seed := range []string{
		"name: x\nsites:\n  - {id: a, units: 3}\n  - *a\n", "&a [*a]", "? a\n: b", "a: |\n  x\n", "!!map {a: b}", "<<: *x", "\"", "[", "---\n---\n", "%YAML 1.2\n---\na", "a:\n\t- b", "{1: a, 1.0: b, ~: c, true: d}", "'", "- - - a", "&a &b c", "*", "&", "!", "a: &x\nb: *x",
	} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		file, faults := document.Parse("fuzz.yaml", []byte(text))
		if len(faults) > 0 {
			require.Nil(t, file)
		} else {
			var p plant
			faults = file.Decode(&p)
			file.Fault(text, "", "x")
			file.Has(text)
		}
		for _, fault := range faults {
			require.Positive(t, fault.Line)
			require.Positive(t, fault.Column)
			require.NotEmpty(t, fault.What)
		}
	})
}
