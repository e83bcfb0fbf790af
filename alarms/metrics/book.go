package metrics

import (
	"cmp"
	"fmt"
	"slices"
	"unicode/utf8"

	dto "github.com/prometheus/client_model/go"
)

// book holds the families ready to be written. They are brought up to date in
// place at each collection, so that a large fleet costs what has changed and
// the writing. What it holds is bounded by the fleet: one sample for each series
// that was ever shown of a unit that is still there.
type book struct {
	tables map[*family]*table
	sorted []*table // by name
	pairs  map[[2]string]*dto.LabelPair
	last   []*dto.LabelPair // of the sample made before: its neighbour often has the same
	bad    error            // a label that is no text; its samples are left out
}

func newBook(families ...*family) *book {
	b := &book{tables: map[*family]*table{}, pairs: map[[2]string]*dto.LabelPair{}}
	for _, f := range families {
		t := newTable(f)
		b.tables[f], b.sorted = t, append(b.sorted, t)
	}
	slices.SortFunc(b.sorted, func(x, y *table) int { return cmp.Compare(x.family.name, y.family.name) })
	return b
}

// sample makes a series; nil when a label is no text.
func (b *book) sample(f *family, labels []string) *sample {
	t := b.tables[f]
	pairs := make([]*dto.LabelPair, len(labels))
	for i, v := range labels {
		if !utf8.ValidString(v) {
			b.bad = fmt.Errorf("metric %s: label %s is no UTF-8: %q", f.name, f.labels[i], v)
			return nil
		}
		place := t.places[i]
		pairs[place] = b.pair(t.names[place], v)
	}
	if slices.Equal(pairs, b.last) {
		pairs = b.last
	}
	b.last = pairs
	s := newSample(t, pairs)
	t.add(s)
	return s
}

func (b *book) pair(name *string, value string) *dto.LabelPair {
	key := [2]string{*name, value}
	p := b.pairs[key]
	if p == nil {
		own := value
		p = &dto.LabelPair{Name: name, Value: &own}
		b.pairs[key] = p
	}
	return p
}

// forget lets go of labels that nothing may have any more. Samples that stay
// keep theirs.
func (b *book) forget() {
	clear(b.pairs)
	b.last = nil
}

// families appends those that have samples, sorted by name.
func (b *book) families(out []*dto.MetricFamily) []*dto.MetricFamily {
	for _, t := range b.sorted {
		if t.settle(); len(t.out.Metric) > 0 {
			out = append(out, &t.out)
		}
	}
	return out
}
