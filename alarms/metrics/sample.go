package metrics

import (
	"math"
	"slices"
	"strings"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	dto "github.com/prometheus/client_model/go"
)

// sample is one series, ready to be written; about 250 octets with its place
// in its table and its sheet, and its share of the labels.
type sample struct {
	of     *table
	metric dto.Metric
	gauge  dto.Gauge // of gauges
	value  float64
	shown  bool // it has a value
	gone   bool // its sheet has dropped it
}

func newSample(of *table, labels []*dto.LabelPair) *sample {
	s := &sample{of: of}
	s.metric.Label = labels
	if of.family.kind == prometheus.CounterValue {
		s.metric.Counter = &dto.Counter{Value: &s.value}
	} else {
		s.gauge.Value, s.metric.Gauge = &s.value, &s.gauge
	}
	return s
}

// is tells whether the sample is the one of a family with these labels.
func (s *sample) is(f *family, labels []string) bool {
	if s.of.family != f {
		return false
	}
	for i, v := range labels {
		if s.metric.Label[s.of.places[i]].GetValue() != v {
			return false
		}
	}
	return true
}

func (s *sample) show(v float64, known bool) {
	if s.value = v; s.shown != known {
		s.shown, s.of.changed = known, true
	}
}

func (s *sample) drop() { s.gone, s.of.changed = true, true }

// table is one family with its samples.
type table struct {
	family *family
	names  []*string // of the labels, sorted
	places []int     // of the labels of the family among the sorted
	all    []*sample // sorted by labels, but for those added since
	out    dto.MetricFamily

	added, changed bool // since it was settled
}

func newTable(f *family) *table {
	kind := dto.MetricType_GAUGE
	if f.kind == prometheus.CounterValue {
		kind = dto.MetricType_COUNTER
	}
	t := &table{family: f, out: dto.MetricFamily{Name: &f.name, Help: &f.help, Type: &kind}}
	sorted := slices.Sorted(slices.Values(f.labels))
	for i := range sorted {
		t.names = append(t.names, &sorted[i])
	}
	for _, l := range f.labels {
		t.places = append(t.places, slices.Index(sorted, l))
	}
	return t
}

func (t *table) add(s *sample) {
	t.all = append(t.all, s)
	t.added, t.changed = true, true
}

// settle puts the samples that have a value in order into the family.
func (t *table) settle() {
	if !t.changed {
		return
	}
	t.all = slices.DeleteFunc(t.all, func(s *sample) bool { return s.gone })
	if t.added {
		slices.SortFunc(t.all, func(a, b *sample) int { return slices.CompareFunc(a.metric.Label, b.metric.Label, byValue) })
	}
	old := t.out.Metric
	t.out.Metric = t.out.Metric[:0]
	for _, s := range t.all {
		if s.shown {
			t.out.Metric = append(t.out.Metric, &s.metric)
		}
	}
	if n := len(t.out.Metric); n < len(old) {
		clear(old[n:]) // what is no longer there is not held either
	}
	t.added, t.changed = false, false
}

func byValue(a, b *dto.LabelPair) int { return strings.Compare(a.GetValue(), b.GetValue()) }

// sheet holds the samples of one unit or link in the order in which they are
// put. Who fills it begins, puts each sample at its place, known or not, and
// ends: nothing is allocated as long as the order stays. A sample that comes
// at another place than before is made anew.
type sheet struct {
	book    *book
	samples []*sample // nil: never had a value
	at      int
}

func (s *sheet) begin() { s.at = 0 }

// put sets the value of a sample, which is not shown while it is no number.
// Labels are in the order of the family.
func (s *sheet) put(f *family, v float64, labels ...string) {
	if s.at == len(s.samples) {
		s.samples = append(s.samples, nil)
	}
	is := s.samples[s.at]
	if is != nil && !is.is(f, labels) {
		is.drop()
		is = nil
	}
	known := !math.IsNaN(v) && !math.IsInf(v, 0)
	if is == nil && known {
		is = s.book.sample(f, labels)
	}
	if is != nil {
		is.show(v, known)
	}
	s.samples[s.at] = is
	s.at++
}

var unknown = math.NaN()

// putIf is put for a value that may not be known.
func (s *sheet) putIf(known bool, f *family, v float64, labels ...string) {
	if !known {
		v = unknown
	}
	s.put(f, v, labels...)
}

// putTime sets a moment; the zero time is not known.
func (s *sheet) putTime(f *family, at time.Time, labels ...string) {
	s.putIf(!at.IsZero(), f, seconds(at), labels...)
}

// putStates sets a set of states: one sample for each, 1 for the one that
// holds. The last label is the state.
func (s *sheet) putStates(f *family, states []string, holds string, labels ...string) {
	for _, state := range states {
		s.put(f, number(state == holds), append(labels[:len(labels):len(labels)], state)...)
	}
}

func (s *sheet) end() {
	for _, left := range s.samples[s.at:] {
		if left != nil {
			left.drop()
		}
	}
	clear(s.samples[s.at:])
	s.samples = s.samples[:s.at]
}

func (s *sheet) drop() {
	s.begin()
	s.end()
}
