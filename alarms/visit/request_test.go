package visit_test

import (
	"encoding/json"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms/visit"
)

func TestBeginsThatAreRefused(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(*visit.Begin)
		says   []string
	}{
		{"unknown site", func(r *visit.Begin) { r.Site = "moon" }, []string{`no site "moon"`}},
		{"nobody, for nothing", func(r *visit.Begin) { r.By, r.Reason = " ", "" }, []string{"who is there is missing", "the reason is missing"}},
		{"a novel", func(r *visit.Begin) { r.Reason = strings.Repeat("x", 2001) }, []string{"2001 bytes, 2000 are the most"}},
		{"unknown parts", func(r *visit.Begin) { r.Resources = []string{"unit/none", "what"} }, []string{`no "unit/none"`, `no "what": name site/ID, unit/ID, link/ID or cable/ID`}},
		{"parts of another site", func(r *visit.Begin) { r.Resources = []string{"unit/hut"} }, []string{`unit/hut is at site "hill", not at "quay"`}},
		{"in the future", func(r *visit.Begin) { r.At = noon.Add(3 * time.Minute) }, []string{"it begins at 2026-11-25 12:03:00 UTC, here it is 2026-11-25 12:00:00 UTC", "planned_work"}},
		{"long ago", func(r *visit.Begin) { r.At, r.Limit = noon.Add(-25*time.Hour), visit.MaxLimit }, []string{"more than a day ago"}},
		{"over before it is told", func(r *visit.Begin) { r.At, r.Limit = noon.Add(-2*time.Hour), time.Hour }, []string{"would have ended by itself at 2026-11-25 11:00:00 UTC"}},
		{"no time", func(r *visit.Begin) { r.Limit = time.Minute }, []string{"choose between 10m0s and 72h0m0s"}},
		{"a life", func(r *visit.Begin) { r.Limit = 100 * time.Hour }, []string{"choose between"}},
		{"backwards", func(r *visit.Begin) { r.Limit = -time.Hour }, []string{"choose between"}},
		{"a whole country", func(r *visit.Begin) { r.Resources = make([]string, 201) }, []string{"201 resources are named"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := newScene(t, noon)
			r := visit.Begin{Site: "quay", By: "Kim", Reason: "weak"}
			c.change(&r)
			_, err := s.book.Begin(ctx, r, noc, noon)
			require.ErrorIs(t, err, visit.ErrRequest)
			for _, say := range c.says {
				require.ErrorContains(t, err, say)
			}
			require.Empty(t, s.log())
		})
	}
}

func TestEndsThatAreRefused(t *testing.T) {
	s := newScene(t, noon)
	v := s.begin(noon)
	wrong, low := 1e9, -91.0
	for _, c := range []struct {
		name string
		end  visit.End
		says string
	}{
		{"nothing said", visit.End{}, "what was done is missing"},
		{"before it began", visit.End{Found: "x", Done: "y", At: noon.Add(-time.Minute)}, "before it began"},
		{"tomorrow", visit.End{Found: "x", Done: "y", At: noon.Add(24 * time.Hour)}, "end it when you leave"},
		{"unit of another site", visit.End{Found: "x", Done: "y", Exchanged: []string{"hut"}}, `site "quay" has no such unit`},
		{"meter at nothing", visit.End{Found: "x", Done: "y", Meter: []visit.Meter{{Unit: "none", DBm: 1}}}, `measured at unit "none"`},
		{"no power", visit.End{Found: "x", Done: "y", Meter: []visit.Meter{{Unit: "room", DBm: wrong}}}, "no optical power"},
		{"nothing expected", visit.End{Found: "x", Done: "y", Meter: []visit.Meter{{Unit: "room", DBm: 1, Expected: &low}}}, "expected at unit"},
	} {
		_, err := s.book.End(ctx, v.ID, c.end, noc, noon.Add(time.Hour))
		require.ErrorIs(t, err, visit.ErrRequest, c.name)
		require.ErrorContains(t, err, c.says, c.name)
	}
	open, _ := s.book.Open("quay")
	require.Equal(t, v.ID, open.ID)
}

// TestClocks: a visit outlives a clock that is set, in either direction.
func TestClocks(t *testing.T) {
	t.Run("set back while it is open", func(t *testing.T) {
		s := newScene(t, noon)
		v := s.begin(noon)
		_, held := s.book.During(v.Resources, noon.Add(-3*time.Hour))
		require.True(t, held, "they are still there")
		_, held = s.book.During(v.Resources, noon.Add(-365*24*time.Hour))
		require.False(t, held, "a clock that lost its year holds nothing back")
		v = s.end(v.ID, noon.Add(-3*time.Hour))
		require.Equal(t, v.Begun, v.Ended, "it does not end before it began")
	})
	t.Run("set ahead while it is open", func(t *testing.T) {
		s := newScene(t, noon)
		v := s.begin(noon)
		s.book.Keep(ctx, noon.Add(365*24*time.Hour))
		require.True(t, s.proof(v.ID, noon).Forgotten)
		require.Equal(t, "v2", s.begin(noon.Add(time.Minute)).ID, "once it is right again a new one can begin")
	})
	t.Run("a phone that is a little ahead", func(t *testing.T) {
		s := newScene(t, noon)
		v := s.begin(noon, func(r *visit.Begin) { r.At = noon.Add(time.Minute) })
		require.Equal(t, noon, v.Begun)
	})
	t.Run("recorded in the evening", func(t *testing.T) {
		s := newScene(t, noon)
		v := s.begin(noon, func(r *visit.Begin) { r.At = noon.Add(-5 * time.Hour) })
		require.Equal(t, noon.Add(7*time.Hour), v.Until)
		v, err := s.book.End(ctx, v.ID, visit.End{Found: "x", Done: "y", At: noon.Add(-time.Hour)}, noc, noon)
		require.NoError(t, err)
		require.Equal(t, noon.Add(-time.Hour), v.Ended)
	})
}

// FuzzRequests: whatever comes as a body, a visit is refused or recorded as
// something that can be read back and ended.
func FuzzRequests(f *testing.F) {
	f.Add([]byte(`{"site":"quay","by":"Kim","reason":"weak"}`), []byte(`{"found":"a","done":"b"}`))
	f.Add([]byte(`{"site":"quay","by":"K","reason":"r","resources":["link/nq","unit/room","link/nq"],"at":"2026-11-25T11:00:00+02:00"}`),
		[]byte(`{"found":"a","done":"b","exchanged":["room"],"meter":[{"unit":"room","port":"a","dbm":-3.2,"expected_dbm":-3}],"at":"2026-11-25T12:30:00Z"}`))
	f.Add([]byte(`{"site":"quay","by":"\u0000","reason":"\ud800","at":"0001-01-01T00:00:00Z"}`), []byte(`{"found":"\u0007","done":" x","meter":[{"dbm":1e308}]}`))
	f.Add([]byte(`{"site":"quay","by":"k","reason":"r","at":"9999-12-31T23:59:59Z"}`), []byte(`null`))
	s := newScene(f, noon)
	f.Fuzz(func(t *testing.T, begin, end []byte) {
		defer s.book.Keep(ctx, noon.Add(100*time.Hour)) // an open visit would refuse the next
		var b visit.Begin
		var e visit.End
		if json.Unmarshal(begin, &b) != nil || json.Unmarshal(end, &e) != nil {
			return
		}
		v, err := s.book.Begin(ctx, b, noc, noon)
		if err != nil {
			require.ErrorIs(t, err, visit.ErrRequest)
			return
		}
		require.False(t, v.Begun.After(noon))
		require.True(t, v.Until.After(noon))
		require.NotEmpty(t, v.Resources)
		again, err := s.book.Visit(v.ID)
		require.NoError(t, err)
		require.Equal(t, v.Begun, again.Begun)
		require.Equal(t, v.Resources, again.Resources)
		if v, err = s.book.End(ctx, v.ID, e, noc, noon.Add(time.Hour)); err != nil {
			require.ErrorIs(t, err, visit.ErrRequest)
			return
		}
		require.False(t, v.Ended.Before(v.Begun))
		var text strings.Builder
		p, err := s.book.Proof(v.ID, noon.Add(time.Hour))
		require.NoError(t, err)
		require.NoError(t, p.WriteText(&text))
		require.Contains(t, text.String(), v.ID)
	})
}
