package baseline

import (
	"maps"
	"slices"
	"sync"
)

// Memory is a Store that lasts as long as the program, for trying things out.
// The zero value is empty and ready; safe for concurrent use.
type Memory struct {
	mu       sync.Mutex
	records  []Record
	refined  map[string][]Refinement
	progress map[string][]byte
}

var _ Store = (*Memory)(nil)

// Append implements Store.
func (m *Memory) Append(records []Record) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.records = append(m.records, copies(records)...)
	return nil
}

// Records implements Store.
func (m *Memory) Records() ([]Record, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	return copies(m.records), nil
}

// SaveRefinements implements Store.
func (m *Memory) SaveRefinements(units map[string][]Refinement) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.refined == nil {
		m.refined = map[string][]Refinement{}
	}
	for unit, of := range units {
		m.refined[unit] = copiesOf(of)
	}
	return nil
}

// Refinements implements Store.
func (m *Memory) Refinements() (out []Refinement, err error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	for _, unit := range slices.Sorted(maps.Keys(m.refined)) {
		out = append(out, copiesOf(m.refined[unit])...)
	}
	return out, nil
}

// SaveProgress implements Store.
func (m *Memory) SaveProgress(progress map[string][]byte) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.progress == nil {
		m.progress = map[string][]byte{}
	}
	for unit, data := range progress {
		if m.progress[unit] = slices.Clone(data); data == nil {
			delete(m.progress, unit)
		}
	}
	return nil
}

// Progress implements Store.
func (m *Memory) Progress() (map[string][]byte, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	return maps.Clone(m.progress), nil
}
