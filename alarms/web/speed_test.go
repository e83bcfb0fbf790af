package web_test

import (
	"bufio"
	"compress/gzip"
	"context"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"runtime"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
)

// largest is what a page may weigh, before it is compressed.
const largest = 300_000

// crowd gives the list so many alarms all over the fleet.
func (s *stage) crowd(n int) {
	now := time.Now()
	for i := range n {
		u := s.fleet.Units[i%len(s.fleet.Units)]
		s.list.Apply(now, alarms.Update{Key: alarms.Key{Resource: "unit/" + u.ID, Type: fmt.Sprintf("kind-%d", i/len(s.fleet.Units))}, Site: u.Site,
			Active: true, Severity: alarms.Severity(2 + i%4), Text: "Something is wrong at " + u.ID, Time: now.Add(-time.Duration(i) * time.Second)})
	}
}

func TestPagesStaySmall(t *testing.T) {
	s := newStage(t, makeFleet(400, 10), time.Now())
	s.trouble(time.Now())
	s.crowd(10_000)
	for i := range s.engine.units {
		if i%9 == 0 {
			s.engine.units[i] = healthy(s.engine.units[i].Unit, float64(i%5), time.Now())
		}
	}
	s.engine.change()
	for _, path := range []string{"/", "/?show=drift", "/?find=b7", "/alarms", "/sites/north-quay", "/units/a1-room"} {
		w := s.get(path)
		require.Equal(t, http.StatusOK, w.Code, path)
		require.Less(t, w.Body.Len(), largest, path)
	}
}

func TestFleetIsNarrowed(t *testing.T) {
	s := newStage(t, makeFleet(4, 2), time.Now())
	s.trouble(time.Now())
	lossy := s.engine.units[5]
	s.engine.units[5] = healthy(lossy.Unit, 2.5, time.Now())
	s.engine.units[9].Err = errSilent
	for query, want := range map[string]string{
		"":              "4",
		"?find=tunnel":  "1 site of 4",
		"?find=C2-ROO":  "1 site of 4",
		"?find=gps":     "4 sites of 4",
		"?show=drift":   "1 site of 4",
		"?show=silent":  "1 site of 4",
		"?show=trouble": "1 site of 4",
		"?find=nobody":  "No site fits.",
	} {
		require.Contains(t, s.get("/"+query).Body.String(), want, query)
	}
	require.Equal(t, http.StatusBadRequest, s.get("/?show=all").Code)
}

// TestPagesAreSharedAndTold: one rendering serves all who have a page open,
// and they hear only of what it shows.
func TestPagesAreSharedAndTold(t *testing.T) {
	s := newStage(t, makeFleet(2, 2), time.Now())
	tag := s.get("/").Header().Get("ETag")
	before := s.engine.asked
	for range 20 {
		require.Equal(t, tag, s.get("/").Header().Get("ETag"))
	}
	require.Equal(t, before, s.engine.asked)

	w := s.do(call{method: "GET", path: "/", secret: seeSecret, header: map[string]string{"Lightwell-Part": "main", "Accept-Encoding": "gzip"}})
	require.Equal(t, "gzip", w.Header().Get("Content-Encoding"))
	z, err := gzip.NewReader(w.Body)
	require.NoError(t, err)
	part, err := io.ReadAll(z)
	require.NoError(t, err)
	require.Contains(t, string(part), "Nothing needs attention")
	require.NotContains(t, string(part), "<header")

	base := s.serve("127.0.0.1:0")
	ctx, stop := context.WithTimeout(t.Context(), 20*time.Second)
	defer stop()
	page := followPage(t, ctx, base, seeSecret, "/sites/site-2")
	first := next(t, page)
	s.trouble(time.Now()) // at another site
	s.engine.change()
	s.engine.units[4] = healthy(s.engine.units[4].Unit, 3, time.Now())
	s.engine.change()
	changed := time.Now()
	require.NotEqual(t, first.Version, next(t, page).Version, "the second change only")
	require.Less(t, time.Since(changed), time.Second)
}

func BenchmarkPages(b *testing.B) {
	for _, c := range []struct {
		name, path   string
		links, crowd int
	}{{"fleet-40", "/", 40, 0}, {"fleet-400", "/", 400, 0}, {"fleet-4000", "/", 4000, 0}, {"alarms-10000", "/alarms", 4000, 10_000}, {"site-of-4000", "/sites/north-quay", 4000, 0}} {
		s := newStage(b, makeFleet(c.links/10, 10), time.Now(), withoutTokens)
		s.trouble(time.Now())
		s.crowd(c.crowd)
		r := httptest.NewRequest("GET", c.path, nil)
		r.Host = "localhost"
		for _, anew := range []bool{true, false} {
			b.Run(fmt.Sprintf("%s/anew-%t", c.name, anew), func(b *testing.B) {
				b.ReportAllocs()
				var size int
				cpu, made := spent(), 0
				for b.Loop() {
					made++
					if anew {
						s.engine.change()
					}
					w := httptest.NewRecorder()
					s.server.ServeHTTP(w, r)
					size = w.Body.Len()
				}
				b.ReportMetric(float64(size)/1000, "kB/page")
				b.ReportMetric((spent()-cpu).Seconds()*1000/float64(made), "cpu-ms/page")
			})
		}
	}
}

// BenchmarkOpenPages has 200 pages open for which something changes four
// times a second, and tells what server and readers together cost.
func BenchmarkOpenPages(b *testing.B) {
	const readers = 200
	s := newStage(b, makeFleet(400, 10), time.Now(), withoutTokens)
	s.trouble(time.Now())
	base := s.serve("127.0.0.1:0")
	ctx, stop := context.WithCancel(context.Background())
	var all sync.WaitGroup
	var fetched sync.Map
	for i := range readers {
		all.Go(func() { fetched.Store(i, watch(ctx, base)) })
	}
	cpu, begun, frames := spent(), time.Now(), 0
	tick := time.NewTicker(250 * time.Millisecond)
	defer tick.Stop()
	for b.Loop() {
		s.engine.mu.Lock()
		s.engine.units[0] = healthy(s.engine.units[0].Unit, float64(frames%5), time.Now())
		s.engine.mu.Unlock()
		s.engine.change()
		frames++
		<-tick.C
	}
	share := (spent() - cpu).Seconds() / time.Since(begun).Seconds()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	stop()
	all.Wait()
	total := 0
	fetched.Range(func(_, n any) bool { total += n.(int); return true })
	b.ReportMetric(share, "cores")
	b.ReportMetric(float64(m.Sys-m.HeapReleased)/1e6, "MB")
	b.ReportMetric(float64(total)/readers/float64(frames), "fetches/change")
}

// watch does what an open page does, until ctx ends, and returns how often it
// fetched itself.
func watch(ctx context.Context, base string) (fetched int) {
	client := &http.Client{Transport: &http.Transport{}}
	defer client.CloseIdleConnections()
	ask := func(path, accept string) (*http.Response, error) {
		r, err := http.NewRequestWithContext(ctx, "GET", base+path, nil)
		if err != nil {
			return nil, err
		}
		r.Header.Set("Lightwell-Part", "main")
		r.Header.Set("Accept-Encoding", accept)
		return client.Do(r)
	}
	stream, err := ask("/api/v1/changes?page=%2F", "identity")
	if err != nil {
		return 0
	}
	defer stream.Body.Close()
	for lines := bufio.NewScanner(stream.Body); lines.Scan(); {
		if !strings.HasPrefix(lines.Text(), "event: changed") {
			continue
		}
		answer, err := ask("/", "gzip")
		if err != nil {
			return fetched
		}
		_, _ = io.Copy(io.Discard, answer.Body)
		_ = answer.Body.Close()
		fetched++
	}
	return fetched
}

// spent is the processor time of this process.
func spent() time.Duration {
	var u syscall.Rusage
	_ = syscall.Getrusage(syscall.RUSAGE_SELF, &u)
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}
