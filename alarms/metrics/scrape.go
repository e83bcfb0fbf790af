package metrics

import (
	"bytes"
	"cmp"
	"errors"
	"net/http"
	"slices"
	"sync"

	"github.com/prometheus/client_golang/prometheus/promhttp"
	_ "github.com/prometheus/client_golang/prometheus/promhttp/zstd" // offers zstd beside gzip
	dto "github.com/prometheus/client_model/go"
)

// MaxScrapes is how many pages are made or being sent at a time; who comes
// beyond is answered 503. Each holds one page in memory, as it is sent.
const MaxScrapes = 4

// Gather implements prometheus.TransactionalGatherer: the families are the
// metrics' own and change in place after done. The registry has checked its
// own families only; that the others would pass is for tests.
func (m *Metrics) Gather() (all []*dto.MetricFamily, done func(), err error) {
	few, err := m.registry.Gather()
	m.live.mu.Lock()
	all, bad := m.collectLive(few)
	slices.SortFunc(all, func(a, b *dto.MetricFamily) int { return cmp.Compare(a.GetName(), b.GetName()) })
	return all, m.live.mu.Unlock, errors.Join(err, bad)
}

// Handler serves the page, as it is or compressed. A family that fails is left
// out; the rest is served.
func (m *Metrics) Handler() http.Handler {
	return &scrapes{slots: make(chan struct{}, MaxScrapes), page: promhttp.HandlerForTransactional(m, promhttp.HandlerOpts{
		ErrorHandling: promhttp.ContinueOnError, EnableOpenMetrics: true, Registry: m.registry,
		CoalesceGather: true, MaxRequestsInFlight: MaxScrapes,
	})}
}

// scrapes makes each page in memory before it is sent, so that a slow reader
// holds up neither the next collection nor what others are told.
type scrapes struct {
	page  http.Handler
	slots chan struct{}
	pages sync.Pool // of *bytes.Buffer
}

// ServeHTTP implements http.Handler.
func (s *scrapes) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	select {
	case s.slots <- struct{}{}:
		defer func() { <-s.slots }()
	default:
		http.Error(w, "Too many scrapes at a time, try again later.", http.StatusServiceUnavailable)
		return
	}
	body, _ := s.pages.Get().(*bytes.Buffer)
	if body == nil {
		body = &bytes.Buffer{}
	}
	defer s.pages.Put(body)
	body.Reset()
	p := &made{ResponseWriter: w, status: http.StatusOK, body: body}
	s.page.ServeHTTP(p, r)
	w.WriteHeader(p.status)
	_, _ = w.Write(body.Bytes())
}

// made is an answer whose body is kept back.
type made struct {
	http.ResponseWriter // for its headers

	status int
	body   *bytes.Buffer
}

// WriteHeader implements http.ResponseWriter.
func (p *made) WriteHeader(status int) { p.status = status }

// Write implements http.ResponseWriter.
func (p *made) Write(b []byte) (int, error) { return p.body.Write(b) }
