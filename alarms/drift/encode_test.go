package drift_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/alarms/drift"
	"lightwell/alarms/drift/drifttest"
)

func TestStoredSeriesGoesOn(t *testing.T) {
	c := drift.Default()
	p := drifttest.New(drifttest.Recipe{Seed: 1, Kind: drifttest.Drift, Rate: 0.3, Shape: drifttest.Linear, Days: 200})
	var kept, stored drift.Series
	var raised [2]drift.Kinds
	for r := range p.Readings() {
		if r.Missing {
			continue
		}
		raised[0] |= kept.Observe(&c, r.At, r.Value, r.Temp).Raised
		raised[1] |= stored.Observe(&c, r.At, r.Value, r.Temp).Raised
		if r.At%day == 0 { // restarted each midnight
			b, err := stored.AppendBinary(nil)
			require.NoError(t, err)
			require.LessOrEqual(t, len(b), 96, "of at most %d", drift.SeriesSize)
			stored = drift.Series{}
			require.NoError(t, stored.UnmarshalBinary(b))
			again, err := stored.AppendBinary(nil)
			require.NoError(t, err)
			require.Equal(t, b, again)
		}
	}
	require.Equal(t, raised[0], raised[1])
	require.True(t, raised[0].Has(drift.Drift))
	require.InDelta(t, kept.Trend(&c).LostDB, stored.Trend(&c).LostDB, 0.01)
	require.InDelta(t, kept.Trend(&c).TempCoeff, stored.Trend(&c).TempCoeff, 1e-3)
}

func TestDamagedBytesAreRefused(t *testing.T) {
	var s drift.Series
	good, err := s.AppendBinary([]byte("before"))
	require.NoError(t, err)
	require.Equal(t, "before", string(good[:6]))
	good = good[6:]
	for i := range good {
		b := append([]byte(nil), good...)
		b[i] ^= 0x10
		require.ErrorIs(t, s.UnmarshalBinary(b), drift.ErrNotSeries, "byte %d", i)
	}
	require.ErrorIs(t, s.UnmarshalBinary(nil), drift.ErrNotSeries)
	require.ErrorIs(t, s.UnmarshalBinary(good[:len(good)-1]), drift.ErrNotSeries)
	require.ErrorIs(t, s.UnmarshalBinary(append(good, 0)), drift.ErrNotSeries)
	require.Equal(t, drift.Series{}, s)
}

// FuzzUnmarshalBinary: whatever is read is written again as it was, and a
// series made of it does not panic.
func FuzzUnmarshalBinary(f *testing.F) {
	c := drift.Default()
	var s drift.Series
	for i := range int64(3) {
		b, _ := s.AppendBinary(nil)
		f.Add(b)
		for hour := range int64(24 * 10) {
			s.Observe(&c, 1_000_000+i*10*day+hour*3600, float64(hour%5)/10, 20)
		}
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		b = drift.Sealed(b)
		var s drift.Series
		if s.UnmarshalBinary(b) != nil {
			return
		}
		again, err := s.AppendBinary(nil)
		require.NoError(t, err)
		require.Equal(t, b, again)
		at := int64(1_700_000_000)
		for i := range int64(200) {
			s.Observe(&c, at+i*1800, -float64(i%7), float64(i%11))
		}
		s.Trend(&c)
		s.Rebase(at)
		s.Observe(&c, math.MaxInt64, 1, 1)
	})
}
