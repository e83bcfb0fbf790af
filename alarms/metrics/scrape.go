package metrics

import (
	"bytes"
	"cmp"
	"errors"
	"net/http"
	"slices"
	"strings"
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
	s.page.ServeHTTP(p, asIs(r))
	if h := w.Header(); !strings.Contains(r.Header.Get("Accept"), asIsScheme) {
		h.Set("Content-Type", strings.Replace(h.Get("Content-Type"), asIsScheme, "escaping=underscores", 1))
	}
	w.WriteHeader(p.status)
	_, _ = w.Write(body.Bytes())
}

const asIsScheme = "escaping=allow-utf-8"

// asIs makes of a request one for names without escaping, where it does not
// say. No scheme changes a name of ours; but the library looks at every label
// of every sample to find out, which is a third of what writing costs.
func asIs(r *http.Request) *http.Request {
	var clauses []string
	if accept := r.Header.Get("Accept"); accept != "" {
		clauses = strings.Split(accept, ",")
	}
	for i, c := range clauses {
		if !strings.Contains(c, "escaping=") {
			clauses[i] = c + ";" + asIsScheme
		}
	}
	out := *r
	out.Header = r.Header.Clone()
	out.Header.Set("Accept", strings.Join(append(clauses, "text/plain;version=0.0.4;q=0.001;"+asIsScheme), ","))
	return &out
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
