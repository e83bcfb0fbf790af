package drift_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/alarms/drift"
)

// A laser that is stored at the end of each day and read again goes on as if
// nothing had been, but for the hour under way.
func TestALaserSurvivesRestarts(t *testing.T) {
	p, q := newLamp(4), newLamp(4)
	p.aged = func(d float64) float64 { return 0.002 * max(0, d-30) }
	q.aged = p.aged
	var whole, parts drift.Laser
	c := drift.DefaultLaser()
	for day := range 120 {
		p.watch(&whole, day, 1, nil)
		q.watch(&parts, day, 1, nil)
		data, err := parts.AppendBinary(nil)
		require.NoError(t, err)
		parts = drift.Laser{}
		require.NoError(t, parts.UnmarshalBinary(data))
		again, err := parts.AppendBinary(nil)
		require.NoError(t, err)
		require.Equal(t, data, again)
	}
	a, b := whole.Trend(&c), parts.Trend(&c)
	require.Equal(t, a.Grade, b.Grade)
	require.InDelta(t, a.Index, b.Index, 0.005)
	require.InDelta(t, a.PerMonth, b.PerMonth, 0.005)
	require.Equal(t, a.Since, b.Since)
}

func TestWhatIsNoLaser(t *testing.T) {
	var l drift.Laser
	newLamp(5).watch(&l, 0, 30, nil)
	good, err := l.AppendBinary([]byte("before"))
	require.NoError(t, err)
	good = good[len("before"):]
	t.Logf("%d bytes in store", len(good))
	require.LessOrEqual(t, len(good), 224)
	for name, change := range map[string]func([]byte) []byte{
		"nothing":       func([]byte) []byte { return nil },
		"short":         func(b []byte) []byte { return b[:len(b)-1] },
		"long":          func(b []byte) []byte { return append(b, 0) },
		"other format":  func(b []byte) []byte { b[0]++; return b },
		"unknown phase": func(b []byte) []byte { b[15] = 0xff; return b },
		"no number": func(b []byte) []byte {
			for i := range b[26:] {
				b[26+i] = 0xff
			}
			return b
		},
	} {
		before := l
		require.ErrorIs(t, l.UnmarshalBinary(change(append([]byte(nil), good...))), drift.ErrLaserState, name)
		require.Equal(t, before, l, name)
	}
}

func FuzzLaser(f *testing.F) {
	var l drift.Laser
	for _, days := range []int{0, 3, 40} {
		newLamp(6).watch(&l, 0, days, nil)
		data, err := l.AppendBinary(nil)
		require.NoError(f, err)
		f.Add(data, int64(1_760_000_000), 23.0, 35.0)
	}
	f.Fuzz(func(t *testing.T, data []byte, at int64, bias, temp float64) {
		var l drift.Laser
		if l.UnmarshalBinary(data) != nil {
			return
		}
		c := drift.DefaultLaser()
		for hour := range int64(80) {
			l.Observe(&c, at+hour*1800, bias, temp)
		}
		tr := l.Trend(&c)
		require.LessOrEqual(t, tr.Grade, 3)
		require.GreaterOrEqual(t, tr.Latest, tr.Earliest)
		_, err := l.AppendBinary(nil)
		require.NoError(t, err)
	})
}
