package trend_test

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/alarms/trend"
	"lightwell/collector"
)

// FuzzRow reads rows of units and groups that nobody wrote: each begins anew
// or is taken, and polls go on.
func FuzzRow(f *testing.F) {
	db := &store{}
	s := newStage(f, trend.Config{Store: db})
	s.play(20)
	require.NoError(f, s.k.Close(context.Background()))
	for _, body := range db.rows {
		f.Add(body)
	}
	f.Add([]byte{})
	f.Add([]byte{1, 0, 0, 0, 0, 0, 255, 255, 255, 255, 255, 255, 255, 255, 255, 255})
	after := s.polls()
	f.Fuzz(func(t *testing.T, body []byte) {
		k, err := trend.New(trend.Config{Store: &store{rows: map[string][]byte{"unit/room": body, "unit/roof": body, "group/pair/optical_receive_power": body}}})
		require.NoError(t, err)
		k.SetFleet(newFleet())
		for _, p := range after {
			k.Observe(collector.Poll{Unit: p.Unit, Started: p.Started, Readings: p.Readings})
		}
		require.NoError(t, k.Close(context.Background()))
	})
}
