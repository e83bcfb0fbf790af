package brief_test

import (
	"context"
	"encoding/json"
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/brief"
	"lightwell/alarms/brief/paper"
	"lightwell/alarms/rules"
	"lightwell/collector/state"
)

// oct is a time in October 2026 at the site.
func oct(day, hour int) time.Time { return time.Date(2026, 10, day, hour, 0, 0, 0, zone) }

func dark(cleared bool) alarms.Brief {
	return alarms.Brief{Key: alarms.Key{Resource: "link/nq-1", Type: rules.SignalLost}, Severity: alarms.Critical, Cleared: cleared, Impacted: []string{"link/nq-1"}}
}

func startedLine(t *testing.T, at, alive time.Time) state.ChangeRow {
	t.Helper()
	body, err := json.Marshal(brief.Started{LastAlive: alive})
	require.NoError(t, err)
	return state.ChangeRow{Time: at, Kind: brief.LineStarted, Body: body}
}

func october(t *testing.T, s *stage) *brief.Availability {
	t.Helper()
	a, err := s.writer().Availability(t.Context(), "north-quay", "2026-10", now)
	require.NoError(t, err)
	require.Len(t, a.Links, len(s.fleet.Links))
	return a
}

func TestAvailabilityFromTheLog(t *testing.T) {
	s := newStage(2)
	s.told(t,
		startedLine(t, oct(1, 0).AddDate(0, -3, 0), time.Time{}),
		line(t, oct(5, 10), alarms.Raised, dark(false)),
		line(t, oct(5, 13), alarms.ClearedChange, dark(true)),
		state.ChangeRow{Time: oct(10, 0), Kind: brief.LineStopped},
		startedLine(t, oct(10, 2), oct(10, 0)),
		startedLine(t, oct(20, 6), oct(20, 1)), // the one before was killed
	)
	a := october(t, s)
	f := a.Links[0]
	require.Equal(t, 1, f.Outages)
	require.Equal(t, 3*time.Hour, f.Lost)
	require.Equal(t, 7*time.Hour, f.Unknown, "two hours stopped, five hours dead")
	require.InDelta(t, 100*(1-3.0/(744-7)), *f.Percent, 1e-9)
	require.Equal(t, 100.0, *a.Links[1].Percent)
	golden(t, "availability.csv", a.CSV())
	golden(t, "availability.html", []byte(html(t, a.Document())))
	says(t, strings.Join(pages(t, a.Document(), paper.A4), ""), "99.593 %")
}

// TestLongLog reads more than one page of the log, and only of its month.
func TestLongLog(t *testing.T) {
	s := newStage(1)
	s.told(t, startedLine(t, oct(1, 0).AddDate(0, -3, 0), time.Time{}), line(t, oct(1, 0).AddDate(0, -1, 0), alarms.Raised, dark(false)), line(t, oct(1, 0).AddDate(0, -1, 1), alarms.ClearedChange, dark(true)))
	for i := range 6000 {
		at := oct(2, 0).Add(time.Duration(i) * 6 * time.Minute)
		s.told(t, line(t, at, alarms.Raised, dark(false)), line(t, at.Add(time.Minute), alarms.ClearedChange, dark(true)))
	}
	require.Equal(t, 6000*time.Minute, october(t, s).Links[0].Lost)
}

func TestAvailabilityWithoutALog(t *testing.T) {
	s := newStage(1)
	s.sources.Changes = nil
	require.Nil(t, october(t, s).Links[0].Percent, "nobody knows, so nobody says 100 %")
	s = newStage(1)
	require.Nil(t, october(t, s).Links[0].Percent, "an empty log says nothing either")
}

func TestAvailabilityRefuses(t *testing.T) {
	s := newStage(1)
	for _, month := range []string{"October", "2026-13", "2027-01", "2026-10-01"} {
		_, err := s.writer().Availability(t.Context(), "north-quay", month, now)
		require.ErrorIs(t, err, brief.ErrMonth, month)
	}
	s.sources.Changes = func(context.Context, state.Filter) ([]state.ChangeRow, error) { return nil, errors.New("disk on fire") }
	_, err := s.writer().Availability(t.Context(), "north-quay", "", now)
	require.ErrorContains(t, err, "disk on fire")
}

func TestMonthOfNowEndsNow(t *testing.T) {
	s := newStage(1)
	a, err := s.writer().Availability(t.Context(), "north-quay", "", now)
	require.NoError(t, err)
	require.Equal(t, "2026-11", a.Month)
	require.Equal(t, now, a.To)
}
