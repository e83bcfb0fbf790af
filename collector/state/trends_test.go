package state_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/collector/state"
)

func testTrends(t *testing.T, p place) {
	s := p.open(t)
	rows, err := s.Trends(ctx)
	require.NoError(t, err)
	require.Empty(t, rows)

	first := []state.TrendRow{{Name: "unit/u1", Body: []byte{0, 255, 1}}, {Name: "unit/u2", Body: []byte("old")}, {Name: "group/m/q", Body: []byte{7}}}
	require.NoError(t, s.SaveTrends(ctx, first))
	require.NoError(t, s.SaveTrends(ctx, []state.TrendRow{{Name: "unit/u2", Body: []byte("new")}}))
	require.NoError(t, s.SaveTrends(ctx, nil))
	require.NoError(t, s.Close())

	s = opened(t, p)
	rows, err = s.Trends(ctx)
	require.NoError(t, err)
	require.Equal(t, []state.TrendRow{first[2], first[0], {Name: "unit/u2", Body: []byte("new")}}, rows)
}
