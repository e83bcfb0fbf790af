package model

import (
	"cmp"
	"embed"
	"errors"
	"fmt"
	"maps"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"sync"

	"lightwell/collector/document"
)

//go:embed models/*.yaml
var embedded embed.FS

// Set is a collection of models by name. Reading it is safe for concurrent
// use; AddFolder is not.
type Set struct{ models map[string]*Model }

var builtin = sync.OnceValues(func() (map[string]*Model, error) {
	models := map[string]*Model{}
	files, err := embedded.ReadDir("models")
	if err != nil {
		return nil, fmt.Errorf("read embedded models: %w", err)
	}
	for _, f := range files {
		data, err := embedded.ReadFile(path.Join("models", f.Name()))
		if err != nil {
			return nil, fmt.Errorf("read embedded models: %w", err)
		}
		m, err := Parse("embedded/"+f.Name(), data)
		if err != nil {
			return nil, fmt.Errorf("read embedded models: %w", err)
		}
		models[m.Name] = m
	}
	return models, nil
})

// Builtin returns a new set with the embedded models.
func Builtin() (*Set, error) {
	models, err := builtin()
	if err != nil {
		return nil, err
	}
	return &Set{maps.Clone(models)}, nil
}

// AddFolder adds the models of all *.yaml and *.yml files in dir. The error is
// document.Faults with every fault of every file, and then nothing is added.
// A name that is taken already is a fault.
func (s *Set) AddFolder(dir string) error {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return document.Faults{{File: dir, What: err.Error(), Remedy: "check the path of the folder of models"}}
	}
	added := maps.Clone(s.models)
	var faults document.Faults
	for _, e := range entries {
		if ext := filepath.Ext(e.Name()); e.IsDir() || ext != ".yaml" && ext != ".yml" {
			continue
		}
		doc, found := document.Read(filepath.Join(dir, e.Name()))
		if len(found) > 0 {
			faults = append(faults, found...)
			continue
		}
		m, err := build(doc)
		if errors.As(err, &found) {
			faults = append(faults, found...)
			continue
		}
		if other, taken := added[m.Name]; taken {
			faults = append(faults, doc.Fault("$.model", "give it another name", "model %q is already described in %s", m.Name, other.File))
		}
		added[m.Name] = m
	}
	if err := faults.Err(); err != nil {
		return err
	}
	s.models = added
	return nil
}

// Model returns the model of that name, and false when there is none.
func (s *Set) Model(name string) (*Model, bool) {
	m, ok := s.models[name]
	return m, ok
}

// Names returns the names of all models, sorted.
func (s *Set) Names() []string { return slices.Sorted(maps.Keys(s.models)) }

// Recognised returns the models that a unit with these system objects can be,
// the most special first: longer object identifier, then a fitting sysDescr.
func (s *Set) Recognised(sysObjectID, sysDescr string) []*Model {
	var found []*Model
	sysObjectID = strings.TrimPrefix(sysObjectID, ".")
	for _, name := range s.Names() {
		if m := s.models[name]; m.Recognise.fits(sysObjectID, sysDescr) {
			found = append(found, m)
		}
	}
	slices.SortStableFunc(found, func(a, b *Model) int {
		return cmp.Or(cmp.Compare(len(b.Recognise.SysObjectID), len(a.Recognise.SysObjectID)), cmp.Compare(len(b.Recognise.SysDescr), len(a.Recognise.SysDescr)))
	})
	return found
}

func (r Recognise) fits(sysObjectID, sysDescr string) bool {
	if r == (Recognise{}) {
		return false
	}
	rest, ok := strings.CutPrefix(sysObjectID, r.SysObjectID)
	return ok && (rest == "" || rest[0] == '.' || r.SysObjectID == "") && strings.Contains(sysDescr, r.SysDescr)
}
