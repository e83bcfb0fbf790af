package metrics_test

import (
	"compress/gzip"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/klauspost/compress/zstd"
	"github.com/prometheus/client_golang/prometheus"
	dto "github.com/prometheus/client_model/go"
	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/drift"
	"lightwell/alarms/metrics"
	"lightwell/collector"
)

// again hands families to a registry, for it to check them.
type again []*dto.MetricFamily

// Describe implements prometheus.Collector.
func (again) Describe(chan<- *prometheus.Desc) {}

// Collect implements prometheus.Collector.
func (a again) Collect(ch chan<- prometheus.Metric) {
	for _, f := range a {
		for _, s := range f.GetMetric() {
			var names []string
			for _, l := range s.GetLabel() {
				names = append(names, l.GetName())
			}
			ch <- handed{prometheus.NewDesc(f.GetName(), f.GetHelp(), names, nil), s}
		}
	}
}

type handed struct {
	desc   *prometheus.Desc
	sample *dto.Metric
}

func (h handed) Desc() *prometheus.Desc { return h.desc }

func (h handed) Write(out *dto.Metric) error {
	out.Label, out.Gauge, out.Counter, out.Histogram, out.Summary, out.Untyped = h.sample.Label, h.sample.Gauge, h.sample.Counter, h.sample.Histogram, h.sample.Summary, h.sample.Untyped
	return nil
}

// What a registry checks of its families, and the order it brings them into:
// ours come to the page without it.
func requireChecked(t *testing.T, m *metrics.Metrics) {
	t.Helper()
	all, err := gatherer{m}.Gather()
	require.NoError(t, err)
	reg := prometheus.NewPedanticRegistry()
	require.NoError(t, reg.Register(again(all)))
	checked, err := reg.Gather()
	require.NoError(t, err)
	require.Len(t, checked, len(all))
	for i, f := range all {
		require.Equal(t, checked[i].GetName(), f.GetName(), "families are sorted by name")
		require.Equal(t, checked[i].GetType(), f.GetType(), f.GetName())
		require.Equal(t, checked[i].GetHelp(), f.GetHelp(), f.GetName())
		for j, s := range f.GetMetric() {
			require.Equal(t, checked[i].GetMetric()[j].GetLabel(), s.GetLabel(), "%s: samples and labels are sorted", f.GetName())
			require.Len(t, s.GetLabel(), len(f.GetMetric()[0].GetLabel()), f.GetName())
			require.True(t, slices.IsSortedFunc(s.GetLabel(), func(a, b *dto.LabelPair) int { return strings.Compare(a.GetName(), b.GetName()) }))
		}
	}
}

func TestPassesTheChecksOfTheRegistry(t *testing.T) {
	m := story().metrics()
	for range 3 {
		requireChecked(t, m)
	}
	requireChecked(t, fleetOf(20, 12, 0).metrics())
}

// upset changes something about a plant, as polls, operators and reloads do.
func upset(r *rand.Rand, p *plant) {
	i := r.IntN(len(p.units))
	u := p.units[i]
	set := func(q collector.Quantity, change func(*alarms.PointView)) {
		pt := point(q, "")
		pv := u.Points[pt]
		pv.Reading.Point = pt
		change(&pv)
		u.Points[pt] = pv
	}
	switch r.IntN(11) {
	case 0:
		u.Err = collector.ErrNoAnswer
	case 1:
		u.Err = nil
	case 2:
		set(collector.OpticalReceivePower, func(pv *alarms.PointView) { pv.Reading.Value = r.Float64() })
	case 3:
		set(collector.Temperature, func(pv *alarms.PointView) { pv.Reading.Quality = collector.Quality(r.IntN(4)) })
	case 4:
		delete(u.Points, point(collector.LaserBias, ""))
	case 5:
		pt, pv := compared(collector.RFInputLevel, fmt.Sprint(r.IntN(5)), -40, -41)
		u.Points[pt] = pv
	case 6:
		set(collector.OpticalReceivePower, func(pv *alarms.PointView) { pv.Baseline, pv.Compared = nil, false })
	case 7:
		fading(u)
	case 8:
		set(collector.OpticalReceivePower, func(pv *alarms.PointView) {
			pv.Trend, pv.Forecasts = &drift.Trend{Phase: drift.Phase(r.IntN(4) + 1)}, nil
		})
	case 9:
		u.Unit.Site = fmt.Sprint("quay-", r.IntN(3))
	case 10:
		p.units[i] = newUnit(fmt.Sprint("nq-", r.IntN(1000)), collector.Indoor)
		pt, pv := good(collector.SupplyState, "a", 1)
		p.units[i].Points[pt] = pv
	}
}

// Families that are kept ready say what families made anew say, whatever
// happened in between.
func TestReadyIsAsMadeAnew(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 4))
	p := story()
	old := p.metrics()
	for n := range 400 {
		upset(r, p)
		if n%3 == 0 { // several changes between two scrapes
			require.Equal(t, reloadless(page(t, p.metrics())), reloadless(page(t, old)), "after %d changes", n)
		}
	}
	requireChecked(t, old)
}

// reloadless leaves out when the configuration was loaded: when the metrics
// were made.
func reloadless(page string) string {
	lines := slices.DeleteFunc(strings.Split(page, "\n"), func(l string) bool {
		return strings.HasPrefix(l, "lightwell_config_last_reload_success_timestamp_seconds ")
	})
	return strings.Join(lines, "\n")
}

// All samples of a unit come from the same poll, also during a round: here the
// n-th poll brings n as every reading.
func TestScrapeDuringARound(t *testing.T) {
	p := &lockedPlant{plant: fleetOf(5, 6, 0)}
	m := metrics.New(metrics.Config{Engine: p, List: p})
	h := m.Handler()
	round := func(n int) {
		for _, u := range p.units {
			at := polled.Add(time.Duration(n) * time.Second)
			m.ObservePoll(collector.Poll{Unit: u.Unit.ID, Started: at})
			p.mu.Lock()
			u.Polled, u.LastSuccess = at, at
			for pt, pv := range u.Points {
				pv.Reading.Value = float64(n)
				u.Points[pt] = pv
			}
			p.mu.Unlock()
		}
	}
	round(1)
	stop := make(chan struct{})
	var polling sync.WaitGroup
	polling.Go(func() {
		for n := 2; ; n++ {
			select {
			case <-stop:
				return
			default:
				round(n)
			}
		}
	})
	for range 50 {
		w := httptest.NewRecorder()
		h.ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/metrics", nil))
		polls := map[string]string{} // which poll, by unit
		for line := range strings.Lines(w.Body.String()) {
			family, rest, _ := strings.Cut(line, "{")
			if !slices.Contains([]string{"lightwell_temperature_celsius", "lightwell_rf_input_level_dbm", "lightwell_polls_total"}, family) {
				continue
			}
			_, rest, _ = strings.Cut(rest, `unit="`)
			unit, value, _ := strings.Cut(rest, `"} `)
			if polls[unit] != "" {
				require.Equal(t, polls[unit], value, line)
			}
			polls[unit] = value
		}
		require.Len(t, polls, 5)
	}
	close(stop)
	polling.Wait()
}

// A poll counts when the engine has taken it, like its readings.
func TestPollCountsWithItsReadings(t *testing.T) {
	p := story()
	m := p.metrics()
	count := func() float64 {
		v, _ := value(t, gather(t, m)["lightwell_polls_total"], "unit", "nq-room")
		return v
	}
	next := polled.Add(time.Minute)
	m.ObservePoll(collector.Poll{Unit: "nq-room", Started: polled})
	require.EqualValues(t, 1, count())
	m.ObservePoll(collector.Poll{Unit: "nq-room", Started: next})
	require.EqualValues(t, 1, count(), "the view still tells of the poll before")
	p.units[0].Polled = next
	require.EqualValues(t, 2, count())
}

// What units that left held is let go of.
func TestNothingIsKeptOfUnitsThatLeft(t *testing.T) {
	p := &plant{}
	m := p.metrics()
	heap := func(round int) uint64 {
		p.units = fleetOf(100, 12, 0).units
		for _, u := range p.units {
			u.Unit.ID = fmt.Sprint(u.Unit.ID, "-", round)
			m.ObservePoll(collector.Poll{Unit: u.Unit.ID})
		}
		require.NotEmpty(t, gather(t, m))
		runtime.GC()
		runtime.GC()
		var s runtime.MemStats
		runtime.ReadMemStats(&s)
		return s.HeapAlloc
	}
	first := heap(0)
	last := first
	for round := range 15 {
		last = heap(round + 1)
	}
	require.Less(t, last, first+first/2, "%d octets at first", first)
}

func TestEncodings(t *testing.T) {
	m := story().metrics()
	want := page(t, m)
	for encoding, open := range map[string]func(io.Reader) (io.Reader, error){
		"gzip": func(r io.Reader) (io.Reader, error) { return gzip.NewReader(r) },
		"zstd": func(r io.Reader) (io.Reader, error) { return zstd.NewReader(r, zstd.WithDecoderConcurrency(1)) },
	} {
		r := httptest.NewRequest(http.MethodGet, "/metrics", nil)
		r.Header.Set("Accept-Encoding", encoding)
		w := httptest.NewRecorder()
		m.Handler().ServeHTTP(w, r)
		require.Equal(t, encoding, w.Header().Get("Content-Encoding"))
		plain, err := open(w.Body)
		require.NoError(t, err)
		text, err := io.ReadAll(plain)
		require.NoError(t, err)
		require.Contains(t, string(text), want[:strings.Index(want, "# HELP lightwell_alarm_load_average")])
	}
}

// The type of the page is what the reader asked for, as the library gives it.
func TestAccepted(t *testing.T) {
	for accept, want := range map[string]string{
		"":                             "text/plain; version=0.0.4; charset=utf-8; escaping=underscores",
		"*/*":                          "text/plain; version=0.0.4; charset=utf-8; escaping=underscores",
		"text/html":                    "text/plain; version=0.0.4; charset=utf-8; escaping=underscores",
		"text/plain;version=0.0.4":     "text/plain; version=0.0.4; charset=utf-8; escaping=underscores",
		"text/html, text/plain; q=0.3": "text/plain; version=0.0.4; charset=utf-8; escaping=underscores",
		"application/openmetrics-text;version=1.0.0;escaping=allow-utf-8;q=0.6,text/plain;version=0.0.4;q=0.3": "application/openmetrics-text; version=1.0.0; charset=utf-8; escaping=allow-utf-8",
		"application/openmetrics-text;version=1.0.0;q=0.6,text/plain;version=0.0.4;q=0.3":                      "application/openmetrics-text; version=1.0.0; charset=utf-8; escaping=underscores",
	} {
		r := httptest.NewRequest(http.MethodGet, "/metrics", nil)
		r.Header.Set("Accept", accept)
		w := httptest.NewRecorder()
		story().metrics().Handler().ServeHTTP(w, r)
		require.Equal(t, want, w.Header().Get("Content-Type"), accept)
		require.Equal(t, accept, r.Header.Get("Accept"), "the request stays as it was")
	}
}

// stuck is a reader that takes nothing until it is let go.
type stuck struct {
	discard
	reached chan struct{}
	let     chan struct{}
}

func (s *stuck) Write(b []byte) (int, error) {
	s.reached <- struct{}{}
	<-s.let
	return len(b), nil
}

// A slow reader holds up nobody's page; too many of them are told to wait.
func TestSlowReaders(t *testing.T) {
	p := story()
	h := p.metrics().Handler()
	let, reached := make(chan struct{}), make(chan struct{})
	var slow sync.WaitGroup
	for n := range metrics.MaxScrapes {
		p.units[0].Points[point(collector.Temperature, "")] = alarms.PointView{Reading: collector.Reading{Value: float64(70 + n)}}
		w := httptest.NewRecorder()
		h.ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/metrics", nil))
		require.Contains(t, w.Body.String(), fmt.Sprintf("lightwell_temperature_celsius{port=\"\",site=\"north-quay\",unit=\"nq-room\"} %d\n", 70+n), "not a page made before")
		slow.Go(func() {
			h.ServeHTTP(&stuck{discard{header: http.Header{}}, reached, let}, httptest.NewRequest(http.MethodGet, "/metrics", nil))
		})
		<-reached
	}
	w := httptest.NewRecorder()
	h.ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/metrics", nil))
	require.Equal(t, http.StatusServiceUnavailable, w.Code)
	close(let)
	slow.Wait()
	w = httptest.NewRecorder()
	h.ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/metrics", nil))
	require.Equal(t, http.StatusOK, w.Code)
}
