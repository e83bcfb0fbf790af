package state_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/collector/state"
)

func visitRow(number int64, site, is string) state.VisitRow {
	return state.VisitRow{
		Number: number, Site: site, State: is, Begun: noon.Add(time.Duration(number) * time.Hour),
		Body: []byte(fmt.Sprintf(`{"reason":"Größe %d"}`, number)), Levels: []byte(`{"before":[]}`),
	}
}

func testVisits(t *testing.T, p place) {
	s := p.open(t)
	line := state.AuditRow{Time: noon, Who: "noc-1", From: "192.0.2.7", What: "visit-begun", Detail: "v1", Site: "ridge"}
	for i, site := range []string{"ridge", "quay", "ridge"} {
		require.NoError(t, s.PutVisit(ctx, visitRow(int64(i+1), site, "open"), line))
	}
	ended := visitRow(1, "ridge", "closed")
	ended.Ended, ended.Levels = noon.Add(4*time.Hour), []byte(`{"before":[1],"after":[2]}`)
	require.NoError(t, s.PutVisit(ctx, ended, line))
	require.NoError(t, s.Close())

	s = opened(t, p)
	got, found, err := s.Visit(ctx, 1)
	require.NoError(t, err)
	require.True(t, found)
	require.Equal(t, ended, got)
	_, found, err = s.Visit(ctx, 9)
	require.NoError(t, err)
	require.False(t, found)

	for _, tc := range []struct {
		name   string
		filter state.VisitFilter
		want   []int64
	}{
		{"all, newest first", state.VisitFilter{}, []int64{3, 2, 1}},
		{"of a site", state.VisitFilter{Site: "ridge"}, []int64{3, 1}},
		{"not over", state.VisitFilter{Not: "closed"}, []int64{3, 2}},
		{"lately", state.VisitFilter{Since: noon.Add(2 * time.Hour)}, []int64{3, 2}},
		{"a page", state.VisitFilter{Limit: 1, Before: 3}, []int64{2}},
	} {
		rows, err := s.Visits(ctx, tc.filter)
		require.NoError(t, err, tc.name)
		var numbers []int64
		for _, r := range rows {
			require.Empty(t, r.Levels, tc.name)
			numbers = append(numbers, r.Number)
		}
		require.Equal(t, tc.want, numbers, tc.name)
	}
	log, err := s.Changes(ctx, state.Filter{Site: "ridge"})
	require.NoError(t, err)
	require.Len(t, log, 4, "a line for each write")
	require.Equal(t, "visit-begun", log[0].Kind)
}
