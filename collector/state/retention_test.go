package state_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/collector/state"
)

func testTrim(t *testing.T, p place) {
	s := p.open(t)
	require.NoError(t, s.AppendAudit(ctx, state.AuditRow{Time: noon, Who: "kim", What: "baseline-accepted"}))
	for seq := uint64(1); seq <= 30; seq++ { // a line a second
		require.NoError(t, s.Commit(ctx, state.Batch{Changes: []state.ChangeRow{change(seq, "a")}}))
	}
	dead, waits := message("noc", "a", 1), message("noc", "b", 2)
	dead.State, dead.Created, waits.Created = state.Dead, noon, noon
	require.NoError(t, s.AppendOutbox(ctx, dead, waits))

	rows, err := s.Trim(ctx, state.Retention{}, 100)
	require.NoError(t, err)
	require.Zero(t, rows, "without limits all stays")
	limits := state.Retention{Changes: noon.Add(21 * time.Second), Dead: noon.Add(time.Second), Keep: []string{"baseline-accepted"}}
	var went []int
	for {
		rows, err := s.Trim(ctx, limits, 8)
		require.NoError(t, err)
		if rows == 0 {
			break
		}
		went = append(went, rows)
	}
	require.Equal(t, []int{8 + 1, 8, 4}, went, "in small steps: twenty lines and one message")
	log, err := s.Changes(ctx, state.Filter{})
	require.NoError(t, err)
	require.Len(t, log, 11)
	require.EqualValues(t, 21, log[9].Seq)
	require.Equal(t, "baseline-accepted", log[10].Kind, "what is kept for ever")
	left, err := s.ListOutbox(ctx, "noc", "", 0)
	require.NoError(t, err)
	require.Len(t, left, 1)
	require.Equal(t, state.Pending, left[0].State, "what waits is never forgotten")

	size, err := s.Size(ctx)
	require.NoError(t, err)
	require.EqualValues(t, 11, size.Rows["changes"])
	require.EqualValues(t, 1, size.Rows["outbox"])
	require.Greater(t, size.Bytes, int64(10_000))

	limits.Changes = noon.Add(time.Hour)
	for rows := 1; rows > 0; {
		rows, err = s.Trim(ctx, limits, 100)
		require.NoError(t, err)
	}
	require.NoError(t, s.Close())
	s = opened(t, p)
	next, err := s.NextSeq(ctx)
	require.NoError(t, err)
	require.EqualValues(t, 31, next, "the newest line stays, so that no number is given twice")
}

func TestBatchHoldsDocuments(t *testing.T) {
	s := opened(t, place{folder: t.TempDir()})
	require.NoError(t, s.Commit(ctx, state.Batch{Documents: []state.Document{{Name: "shelves", Body: []byte(`["a"]`)}}}))
	var got []string
	found, err := s.Load(ctx, "shelves", &got)
	require.NoError(t, err)
	require.True(t, found)
	require.Equal(t, []string{"a"}, got)
}
