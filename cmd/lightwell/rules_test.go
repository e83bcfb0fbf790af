package main

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// source is one parsed Go file of the module.
type source struct {
	path    string // from the module's root, with slashes
	folder  string
	test    bool
	file    *ast.File
	fset    *token.FileSet
	imports []string
}

// line returns the line of a place in the file.
func (s source) line(pos token.Pos) int { return s.fset.Position(pos).Line }

// sources parses every Go file of the module. It parses, and does not ask
// the go command, because a cached answer stays green after a forbidden
// import was added.
func sources(t *testing.T) []source {
	t.Helper()
	root := filepath.Join("..", "..")
	var all []source
	fset := token.NewFileSet()
	require.NoError(t, filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") {
			return err
		}
		f, err := parser.ParseFile(fset, path, nil, parser.ParseComments)
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(root, path)
		s := source{path: filepath.ToSlash(rel), folder: filepath.ToSlash(filepath.Dir(rel)), test: strings.HasSuffix(path, "_test.go"), file: f, fset: fset}
		for _, i := range f.Imports {
			s.imports = append(s.imports, strings.Trim(i.Path.Value, `"`))
		}
		all = append(all, s)
		return err
	}))
	require.Greater(t, len(all), 50, "the walk must find the module")
	return all
}

func within(path, folder string) bool { return path == folder || strings.HasPrefix(path, folder+"/") }

// owners lists libraries that only the named folders may import, so that each
// can be replaced in one place.
var owners = map[string][]string{
	"github.com/gosnmp/gosnmp":               {"collector/snmp", "collector/plant/agent"},
	"golang.org/x/net":                       {"collector/snmp/engine"},
	"github.com/robfig/cron":                 {"collector"},
	"github.com/danielgtaylor/huma":          {"alarms/web"},
	"github.com/prometheus/client_golang":    {"alarms/metrics", "collector/history"},
	"github.com/prometheus/prometheus":       {"collector/history"},
	"github.com/cloudevents/sdk-go":          {"alarms/notify", "cmd/lightwell/demo"},
	"github.com/standard-webhooks":           {"alarms/notify"},
	"github.com/goccy/go-yaml":               {"collector/document"},
	"github.com/alecthomas/kong":             {"cmd"},
	"github.com/coreos/go-systemd":           {"cmd"},
	"github.com/chromedp":                    {"alarms/web", "cmd"},
	"github.com/rogpeppe/go-internal":        {"cmd"},
	"github.com/prometheus/exporter-toolkit": {"alarms/web"},
	"gonum.org/v1/gonum":                     {"alarms/statistic", "alarms/drift", "alarms/diagnosis"},
	"gonum.org/v1/plot":                      {"alarms/chart"},
	"codeberg.org/go-pdf/fpdf":               {"alarms/brief"},
	"codeberg.org/go-fonts/liberation":       {"alarms/brief"},
}

// pure packages compute and do nothing else: no clock, file, socket or log.
var pure = []string{"collector/budget", "collector/plan", "alarms/margin", "alarms/rules", "alarms/upkeep", "alarms/diagnosis", "alarms/caution", "alarms/statistic", "alarms/drift"}

var impure = []string{"os", "net", "net/http", "io/fs", "log", "log/slog", "go.uber.org/zap", "database/sql", "os/exec"}

func TestImportLaw(t *testing.T) {
	for _, s := range sources(t) {
		for _, imported := range s.imports {
			own, local := strings.CutPrefix(imported, "lightwell/")
			if local {
				require.False(t, within(own, "cmd") && !within(s.folder, "cmd"), "%s imports %s: nothing imports cmd but cmd", s.path, imported)
				require.False(t, within(s.folder, "collector") && within(own, "alarms"), "%s imports %s: collector must not know alarms", s.path, imported)
			}
			for library, folders := range owners {
				if within(imported, library) && !slices.ContainsFunc(folders, func(f string) bool { return within(s.folder, f) }) && !s.test {
					t.Errorf("%s imports %s: only %v may", s.path, imported, folders)
				}
			}
		}
	}
}

func TestPurePackages(t *testing.T) {
	found := 0
	for _, s := range sources(t) {
		if s.test || !slices.ContainsFunc(pure, func(f string) bool { return within(s.folder, f) }) {
			continue
		}
		found++
		for _, imported := range s.imports {
			require.NotContains(t, impure, imported, s.path)
		}
		ast.Inspect(s.file, func(n ast.Node) bool {
			switch n := n.(type) {
			case *ast.GoStmt:
				t.Errorf("%s starts a goroutine", s.path)
			case *ast.SelectorExpr:
				if x, ok := n.X.(*ast.Ident); ok && x.Name == "time" && (n.Sel.Name == "Now" || n.Sel.Name == "Since" || n.Sel.Name == "After") {
					t.Errorf("%s asks the clock: take now as an argument", s.path)
				}
			}
			return true
		})
	}
	require.Positive(t, found)
}

func TestEveryPackageSaysWhatItIs(t *testing.T) {
	documented := map[string]bool{}
	for _, s := range sources(t) {
		if !s.test {
			documented[s.folder] = documented[s.folder] || s.file.Doc != nil
		}
	}
	for folder, ok := range documented {
		require.True(t, ok, "%s has no package comment", folder)
	}
}

func TestExportedNamesAreDocumented(t *testing.T) {
	for _, s := range sources(t) {
		if s.test {
			continue
		}
		for _, decl := range s.file.Decls {
			switch d := decl.(type) {
			case *ast.FuncDecl:
				if d.Name.IsExported() && d.Doc == nil && exportedReceiver(d) {
					t.Errorf("%s: %s has no doc comment", s.path, d.Name.Name)
				}
			case *ast.GenDecl:
				checkSpecs(t, s, d)
			}
		}
	}
}

func exportedReceiver(d *ast.FuncDecl) bool {
	if d.Recv == nil {
		return true
	}
	typ := d.Recv.List[0].Type
	if star, ok := typ.(*ast.StarExpr); ok {
		typ = star.X
	}
	name, ok := typ.(*ast.Ident)
	return ok && name.IsExported()
}

func checkSpecs(t *testing.T, s source, d *ast.GenDecl) {
	t.Helper()
	for _, spec := range d.Specs {
		switch spec := spec.(type) {
		case *ast.TypeSpec:
			if spec.Name.IsExported() && d.Doc == nil && spec.Doc == nil {
				t.Errorf("%s: type %s has no doc comment", s.path, spec.Name.Name)
			}
		case *ast.ValueSpec:
			if spec.Names[0].IsExported() && d.Doc == nil && spec.Doc == nil && spec.Comment == nil {
				t.Errorf("%s: %s has no doc comment", s.path, spec.Names[0].Name)
			}
		}
	}
}

// Limits of size: small files, small functions.
const (
	maxFileLines     = 500
	maxFunctionLines = 80
)

func TestSmallFilesSmallFunctions(t *testing.T) {
	for _, s := range sources(t) {
		if n := s.line(s.file.FileEnd); n > maxFileLines {
			t.Errorf("%s has %d lines", s.path, n)
		}
		for _, decl := range s.file.Decls {
			if d, ok := decl.(*ast.FuncDecl); ok && !s.test { // a table of cases may be long
				if n := s.line(d.End()) - s.line(d.Pos()); n > maxFunctionLines {
					t.Errorf("%s: %s has %d lines", s.path, d.Name.Name, n)
				}
			}
		}
	}
}

func TestNoSleepInTests(t *testing.T) {
	for _, s := range sources(t) {
		if !s.test {
			continue
		}
		ast.Inspect(s.file, func(n ast.Node) bool {
			if sel, ok := n.(*ast.SelectorExpr); ok && sel.Sel.Name == "Sleep" {
				if x, ok := sel.X.(*ast.Ident); ok && x.Name == "time" {
					t.Errorf("%s sleeps: wait for a condition, or run in a bubble", s.path)
				}
			}
			return true
		})
	}
}
