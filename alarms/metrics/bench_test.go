package metrics_test

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"runtime"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/promhttp"
	"github.com/stretchr/testify/require"

	"lightwell/alarms/metrics"
	"lightwell/collector"
)

// fleetOf makes units of a number of ports, with a compared level and a
// temperature each; shift is added to what they read.
func fleetOf(units, ports int, shift float64) *plant {
	p := &plant{states: map[string]string{}}
	for i := range units {
		u := newUnit(fmt.Sprintf("unit-%05d", i), collector.Indoor)
		u.Unit.Site = fmt.Sprintf("site-%04d", i/8)
		for n := range ports {
			pt, pv := compared(collector.RFInputLevel, fmt.Sprint(n), -40+shift+float64(i%97)/8, -39)
			u.Points[pt] = pv
			pt, pv = good(collector.Temperature, fmt.Sprint(n), 25+shift)
			u.Points[pt] = pv
		}
		p.units = append(p.units, u)
		p.states[u.Unit.ID] = "accepted"
	}
	return p
}

// discard is an answer that nobody reads.
type discard struct {
	header http.Header
	size   int
}

func (d *discard) Header() http.Header         { return d.header }
func (d *discard) WriteHeader(int)             {}
func (d *discard) Write(b []byte) (int, error) { d.size += len(b); return len(b), nil }

func request(encoding string) *http.Request {
	r := httptest.NewRequest(http.MethodGet, "/metrics", nil)
	r.Header.Set("Accept-Encoding", encoding)
	return r
}

// serve returns the size of the page.
func serve(tb testing.TB, h http.Handler, r *http.Request) int {
	encoding := r.Header.Get("Accept-Encoding")
	d := &discard{header: http.Header{}}
	h.ServeHTTP(d, r)
	if got := d.header.Get("Content-Encoding"); got != encoding && encoding != "identity" {
		tb.Fatalf("encoded as %q", got)
	}
	return d.size
}

// Every poll of every unit brings other readings between two scrapes.
func BenchmarkScrape(b *testing.B) {
	for _, units := range []int{40, 1000, 10000} {
		b.Run(fmt.Sprint(units, "units"), func(b *testing.B) {
			p := fleetOf(units, 12, 0)
			turns := [2]plant{*p, *fleetOf(units, 12, 0.125)}
			h := p.metrics().Handler()
			r := request("identity")
			serve(b, h, r)
			b.ReportAllocs()
			size, n := 0, 0
			for b.Loop() {
				n++
				p.units = turns[n%2].units
				size = serve(b, h, r)
			}
			b.ReportMetric(float64(size), "bytes/page")
		})
	}
}

// vectors fills a registry of gauge vectors with the samples of a page, and
// returns how many there are.
func vectors(tb testing.TB, m *metrics.Metrics) (*prometheus.Registry, int) {
	all, err := gatherer{m}.Gather()
	require.NoError(tb, err)
	reg, n := prometheus.NewRegistry(), 0
	for _, f := range all {
		if len(f.GetMetric()) < 1000 {
			continue
		}
		var names []string
		for _, l := range f.GetMetric()[0].GetLabel() {
			names = append(names, l.GetName())
		}
		vec := prometheus.NewGaugeVec(prometheus.GaugeOpts{Name: f.GetName(), Help: f.GetHelp()}, names)
		reg.MustRegister(vec)
		for _, s := range f.GetMetric() {
			var values []string
			for _, l := range s.GetLabel() {
				values = append(values, l.GetValue())
			}
			vec.WithLabelValues(values...).Set(s.GetGauge().GetValue() + s.GetCounter().GetValue())
			n++
		}
	}
	return reg, n
}

// The same page of 10,000 units with 30 series each, once from ready families
// and once from gauge vectors, in turns. All readings change between scrapes;
// the vectors are not even charged for that.
func BenchmarkScrapeAgainstGaugeVec(b *testing.B) {
	p := fleetOf(10_000, 4, 0)
	turns := [2]plant{*p, *fleetOf(10_000, 4, 0.125)}
	m := p.metrics()
	for _, u := range p.units {
		m.ObservePoll(collector.Poll{Unit: u.Unit.ID, Took: 30 * time.Millisecond})
	}
	var bare, filled runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&bare)
	_, done, err := m.Gather()
	require.NoError(b, err)
	done()
	runtime.GC()
	runtime.ReadMemStats(&filled)
	reg, series := vectors(b, m)
	ready, vec := m.Handler(), promhttp.HandlerFor(reg, promhttp.HandlerOpts{})
	for _, encoding := range []string{"identity", "gzip", "zstd"} {
		b.Run(encoding, func(b *testing.B) {
			r := request(encoding)
			serve(b, ready, r)
			var ours, theirs time.Duration
			var before, after runtime.MemStats
			allocs, n := uint64(0), 0
			for b.Loop() {
				n++
				p.units = turns[n%2].units
				runtime.ReadMemStats(&before)
				start := time.Now()
				serve(b, ready, r)
				ours += time.Since(start)
				runtime.ReadMemStats(&after)
				allocs += after.Mallocs - before.Mallocs
				start = time.Now()
				serve(b, vec, r)
				theirs += time.Since(start)
			}
			b.ReportMetric(float64(series), "series")
			b.ReportMetric(float64(ours.Milliseconds())/float64(n), "ms/ready")
			b.ReportMetric(float64(theirs.Milliseconds())/float64(n), "ms/GaugeVec")
			b.ReportMetric(float64(ours)/float64(theirs), "ratio")
			b.ReportMetric(float64(allocs)/float64(n), "allocs/ready")
			b.ReportMetric(float64(filled.HeapAlloc-bare.HeapAlloc)/float64(series), "B/series")
		})
	}
}
