package main

import (
	"fmt"
	"go/ast"
	"maps"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/alecthomas/kong"
	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/cmd/lightwell/config"
	"lightwell/cmd/lightwell/daemon"
)

// read returns a file of the repository.
func read(t *testing.T, path string) string {
	t.Helper()
	data, err := os.ReadFile(filepath.Join("..", "..", filepath.FromSlash(path)))
	require.NoError(t, err)
	return string(data)
}

// section returns what stands between a heading and the next of its level.
func section(t *testing.T, text, heading string) string {
	t.Helper()
	_, rest, found := strings.Cut(text, "\n## "+heading+"\n")
	require.True(t, found, "no section %q", heading)
	body, _, _ := strings.Cut(rest, "\n## ")
	return body
}

// rowPattern is a table row whose first cell begins with a word of code.
var rowPattern = regexp.MustCompile("(?m)^ *\\| `([^`]+)`[^|]*\\|(.*)\\|$")

// rows returns the tables of a section: the code of the first cell, and the
// other cells.
func rows(t *testing.T, text, heading string) map[string][]string {
	t.Helper()
	out := map[string][]string{}
	for _, m := range rowPattern.FindAllStringSubmatch(section(t, text, heading), -1) {
		require.NotContains(t, out, m[1], "%s: a second row", heading)
		for cell := range strings.SplitSeq(m[2], "|") {
			out[m[1]] = append(out[m[1]], strings.TrimSpace(cell))
		}
	}
	require.NotEmpty(t, out, heading)
	return out
}

func keys[V any](m map[string]V) []string { return slices.Sorted(maps.Keys(m)) }

func TestFirstScreen(t *testing.T) {
	lines := strings.SplitN(read(t, "README.md"), "\n", 26)
	screen := strings.Join(lines[:25], "\n")
	require.Contains(t, screen, "```sh\ngo run ./cmd/lightwell demo\ngo test ./...\n```")
}

func TestAlarmTable(t *testing.T) {
	table := rows(t, read(t, "README.md"), "Alarms")
	for _, typ := range daemon.AlarmTypes() {
		row, ok := table[typ.ID]
		require.True(t, ok, "%s is missing", typ.ID)
		require.Len(t, row, 5, typ.ID)
		raised := raisedAfter(typ.Raise)
		require.Equal(t, []string{typ.Severity.String(), raised}, row[:2], typ.ID)
		require.NotEmpty(t, row[2], typ.ID)
		require.Equal(t, []string{typ.ClearsBy, fmt.Sprintf("%s (%d)", typ.Cause.Name, typ.Cause.Number)}, row[3:], typ.ID)
		delete(table, typ.ID)
	}
	require.Empty(t, table, "types that do not exist")
}

func raisedAfter(d alarms.Damping) string {
	switch {
	case d.Polls == 0 && d.For == 0:
		return "at once"
	case d.Polls == 0:
		return short(d.For)
	case d.For == 0:
		return fmt.Sprintf("%d polls", d.Polls)
	}
	return fmt.Sprintf("%d polls over %s", d.Polls, short(d.For))
}

// short writes a duration as people do: 24h, not 24h0m0s.
func short(d time.Duration) string {
	return strings.NewReplacer("h0m0s", "h", "m0s", "m").Replace(d.String())
}

// TestMetricsTable compares with the golden page of the exposition, which is
// compared with the program where it is made.
func TestMetricsTable(t *testing.T) {
	table := rows(t, read(t, "README.md"), "Metrics")
	page := read(t, "alarms/metrics/testdata/page.prom")
	types := map[string]string{}
	for _, m := range regexp.MustCompile(`(?m)^# TYPE (\S+) (\S+)$`).FindAllStringSubmatch(page, -1) {
		types[m[1]] = m[2]
	}
	require.Equal(t, keys(types), keys(table))
	for _, m := range regexp.MustCompile(`(?m)^# HELP (\S+) (.*)$`).FindAllStringSubmatch(page, -1) {
		row := table[m[1]]
		require.Len(t, row, 3, m[1])
		require.Equal(t, []string{types[m[1]], m[2]}, []string{row[0], row[2]}, m[1])
		require.NotEmpty(t, row[1], "%s: the unit", m[1])
	}
}

// TestKeysOfFiles compares the tables of keys with the structs that the files
// are decoded into.
func TestKeysOfFiles(t *testing.T) {
	for _, tt := range []struct{ heading, folder, root string }{
		{"Configuration", "cmd/lightwell/config", "fileConfig"},
		{"Fleet file", "collector/inventory", "fileLayout"},
		{"Models", "collector/model", "fileLayout"},
	} {
		t.Run(tt.heading, func(t *testing.T) {
			table := rows(t, read(t, "README.md"), tt.heading)
			if tt.heading == "Models" { // its other table lists the models
				names, err := filepath.Glob(filepath.Join("..", "..", "collector", "model", "models", "*.yaml"))
				require.NoError(t, err)
				require.NotEmpty(t, names)
				for _, n := range names {
					name := strings.TrimSuffix(filepath.Base(n), ".yaml")
					require.Contains(t, table, name)
					delete(table, name)
				}
			}
			structs := structsOf(t, tt.folder)
			require.Contains(t, structs, tt.root)
			want := structs.paths(structs[tt.root], "")
			slices.Sort(want)
			require.Equal(t, want, keys(table))
		})
	}
}

// structs are the struct types of a package by name.
type structs map[string]*ast.StructType

func structsOf(t *testing.T, folder string) structs {
	out := structs{}
	for _, s := range sources(t) {
		if s.folder != folder || s.test {
			continue
		}
		ast.Inspect(s.file, func(n ast.Node) bool {
			if spec, ok := n.(*ast.TypeSpec); ok {
				if st, ok := spec.Type.(*ast.StructType); ok && spec.Name.Name != "secretRef" { // a secret is a leaf
					out[spec.Name.Name] = st
				}
			}
			return true
		})
	}
	return out
}

// paths returns the keys of a struct and of the structs within it, as the
// documents write them.
func (s structs) paths(st *ast.StructType, prefix string) []string {
	var out []string
	for _, field := range st.Fields.List {
		if field.Tag == nil {
			continue
		}
		key, _, _ := strings.Cut(reflect.StructTag(strings.Trim(field.Tag.Value, "`")).Get("yaml"), ",")
		inner, suffix := s.inner(field.Type)
		if len(field.Names) == 0 { // its keys are those of the outer struct
			out = append(out, s.paths(inner, prefix)...)
			continue
		}
		if key = prefix + key; inner == nil {
			out = append(out, key)
		} else {
			out = append(out, s.paths(inner, key+suffix+".")...)
		}
	}
	return out
}

// inner returns the struct behind a type, nil when there is none, and how the
// way to it is written.
func (s structs) inner(typ ast.Expr) (st *ast.StructType, suffix string) {
	switch typ := typ.(type) {
	case *ast.StructType:
		return typ, ""
	case *ast.StarExpr:
		return s.inner(typ.X)
	case *ast.Ident:
		return s[typ.Name], ""
	case *ast.ArrayType:
		st, suffix = s.inner(typ.Elt)
		return st, "[]" + suffix
	case *ast.MapType:
		st, suffix = s.inner(typ.Value)
		return st, ".NAME" + suffix
	}
	return nil, ""
}

// TestKeysThatNeedARestart: what the table marks is what a reload warns of.
func TestKeysThatNeedARestart(t *testing.T) {
	text := section(t, read(t, "README.md"), "Configuration")
	left := map[string]bool{}
	for _, k := range config.RestartKeys() {
		left[k] = true
	}
	for _, m := range regexp.MustCompile("(?m)^\\| `([^`]+)`( ¹)? \\|").FindAllStringSubmatch(text, -1) {
		key, marked := m[1], m[2] != ""
		group, _, _ := strings.Cut(key, ".")
		group = strings.TrimSuffix(group, "[]")
		known := slices.Contains(config.RestartKeys(), key) || slices.Contains(config.RestartKeys(), group)
		require.Equal(t, known, marked, key)
		delete(left, key)
		delete(left, group)
	}
	require.Empty(t, left, "not in the table")
}

func TestDefaultsInTheDocument(t *testing.T) {
	table := rows(t, read(t, "README.md"), "Configuration")
	c := config.Default()
	for key, want := range map[string]any{
		"listen": c.Listen, "data": c.Data, "poll": c.Poll, "log_level": c.LogLevel, "metrics_open": c.MetricsOpen,
		"min_poll": short(c.MinPoll), "snmp.timeout": short(c.SNMP.Timeout), "snmp.retries": c.SNMP.Retries,
		"snmp.max_objects": c.SNMP.MaxObjects, "snmp.per_site": c.PerSite,
		"commissioning.polls": c.Commissioning.Polls, "commissioning.over": short(c.Commissioning.Over),
	} {
		require.Equal(t, fmt.Sprintf("`%v`", want), table[key][0], key)
	}
}

func TestCommandTable(t *testing.T) {
	parser, err := kong.New(&cli{}, kong.Vars{"config": "", "listen": ""})
	require.NoError(t, err)
	var want []string
	for _, leaf := range parser.Model.Leaves(true) {
		var words []string
		for n := leaf; n != nil && n.Type == kong.CommandNode; n = n.Parent {
			words = append(words, n.Name)
		}
		slices.Reverse(words)
		want = append(want, "lightwell "+strings.Join(words, " "))
	}
	slices.Sort(want)
	require.Equal(t, want, keys(rows(t, read(t, "README.md"), "Commands")))
}

// TestExampleOfAWebhook: the example is the golden body of its package.
func TestExampleOfAWebhook(t *testing.T) {
	golden := strings.TrimSpace(read(t, "alarms/notify/testdata/cable-cut.json"))
	require.Contains(t, section(t, read(t, "README.md"), "Webhooks"), "```json\n"+golden+"\n```")
}

func TestEveryDependencyHasItsReason(t *testing.T) {
	direct, _, _ := strings.Cut(read(t, "go.mod"), "\n)")
	var want []string
	for _, m := range regexp.MustCompile(`(?m)^\t(\S+) v`).FindAllStringSubmatch(direct, -1) {
		want = append(want, m[1])
	}
	slices.Sort(want)
	require.Equal(t, want, keys(rows(t, read(t, "DEVELOPERS.md"), "Dependencies")))
}

func TestEveryPackageHasItsLine(t *testing.T) {
	folders := map[string]bool{}
	for _, s := range sources(t) {
		folders[s.folder] = true
	}
	require.Equal(t, keys(folders), keys(rows(t, read(t, "DEVELOPERS.md"), "Layout")))
}

// TestLinks: what the documents point at is there.
func TestLinks(t *testing.T) {
	for _, name := range []string{"README.md", "DEVELOPERS.md"} {
		links := regexp.MustCompile(`\]\(([^)\s]+)\)`).FindAllStringSubmatch(read(t, name), -1)
		require.NotEmpty(t, links, name)
		for _, m := range links {
			path, anchor, _ := strings.Cut(m[1], "#")
			if path == "" {
				path = name
			}
			text := read(t, path)
			if anchor != "" {
				require.Contains(t, anchors(text), anchor, "%s points at %s", name, m[1])
			}
		}
	}
}

// anchors returns the names by which headings are pointed at.
func anchors(text string) []string {
	var out []string
	for _, m := range regexp.MustCompile(`(?m)^#+ (.*)$`).FindAllStringSubmatch(text, -1) {
		out = append(out, strings.ReplaceAll(strings.ToLower(m[1]), " ", "-"))
	}
	return out
}

// TestPictureIsSmall: it is fetched with every clone.
func TestPictureIsSmall(t *testing.T) {
	require.Contains(t, read(t, "README.md"), "](.readme/fleet.png)")
	picture := read(t, ".readme/fleet.png")
	require.True(t, strings.HasPrefix(picture, "\x89PNG"))
	require.Less(t, len(picture), 200_000)
}

// yamlBlocks returns the YAML examples of a section, without their indent.
func yamlBlocks(t *testing.T, heading string) []string {
	var out []string
	for _, m := range regexp.MustCompile("(?s)( *)```yaml\n(.*?)```").FindAllStringSubmatch(section(t, read(t, "README.md"), heading), -1) {
		out = append(out, strings.ReplaceAll("\n"+m[2], "\n"+m[1], "\n"))
	}
	require.NotEmpty(t, out, heading)
	return out
}

// TestExamplesAreRight puts the examples of the document together and runs
// check on them.
func TestExamplesAreRight(t *testing.T) {
	folder := t.TempDir()
	write := func(name, text string) {
		t.Helper()
		path := filepath.Join(folder, name)
		require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o700))
		require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
	}
	for _, name := range []string{"auth", "privacy", "anna"} {
		write("secrets/"+name, "the secret of "+name)
	}
	write("secrets/webhook", "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw")
	write("secrets/chat-address", "https://chat.example/hooks/1")
	first := yamlBlocks(t, "First site")
	require.Len(t, first, 2)
	write("fleet.yaml", first[0]+yamlBlocks(t, "Schedules and planned work")[0])
	write("lightwell.yaml", first[1])
	out, _, err := typed(t.Context(), "check", "--config", filepath.Join(folder, "lightwell.yaml"))
	require.NoError(t, err)
	_, plan, _ := strings.Cut(out, "\n") // the first line names the folder
	shown := strings.Join(strings.Fields(section(t, read(t, "README.md"), "First site")), " ")
	require.Contains(t, shown, strings.Join(strings.Fields(plan), " "))

	write("models/mine.yaml", yamlBlocks(t, "Models")[0])
	write("lightwell.yaml", "models: models\n"+strings.Replace(first[1], "webhooks:\n", yamlBlocks(t, "Webhooks")[0], 1))
	out, _, err = typed(t.Context(), "check", "--config", filepath.Join(folder, "lightwell.yaml"))
	require.NoError(t, err)
	require.Contains(t, out, "2 webhooks")
}
