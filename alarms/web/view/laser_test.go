package view_test

import (
	"encoding/json"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/drift"
	"lightwell/alarms/web/view"
	"lightwell/collector"
)

func TestLaser(t *testing.T) {
	const day = 24 * time.Hour
	bias := collector.Point{Quantity: collector.LaserBias}
	judged := time.Date(2026, 11, 24, 0, 0, 0, 0, time.UTC)
	show := func(tr drift.LaserTrend) *view.Laser {
		u := collector.Unit{ID: "room", Site: "s", Equipment: collector.Equipment{Points: []collector.Point{bias}}}
		b := view.NewBoard(view.Snapshot{
			Now: now, Fleet: collector.NewFleet(collector.Fleet{Units: []collector.Unit{u}}),
			Units: []alarms.UnitView{{Unit: u, Points: map[collector.Point]alarms.PointView{bias: {Laser: &tr}}}},
		})
		shown, ok := b.Unit("room")
		require.True(t, ok)
		if got := shown.Lasers(); len(got) > 0 {
			return got[0].Laser
		}
		return nil
	}
	require.Nil(t, show(drift.LaserTrend{}))

	learning := show(drift.LaserTrend{Phase: drift.LaserLearning, Days: 9})
	require.Equal(t, "being learnt, 9 days so far", learning.Words())
	require.Nil(t, learning.Index, "nothing is known yet, which is not 0")
	require.Empty(t, learning.Outlook())

	known := drift.LaserTrend{Phase: drift.LaserKnown, ColdC: 22, HotC: 49}
	require.Equal(t, "just learnt", show(known).Words())
	known.Judged, known.Next = judged, 0.1
	require.Equal(t, "as when it was learnt", show(known).Words())
	known.Index, known.Since = 0.06, judged.AddDate(0, -2, 0)
	require.Equal(t, "ageing", show(known).Words())
	known.Grade, known.Next, known.HasForecast = 1, 0.2, true
	known.Earliest, known.Expected, known.Latest = 70*day, 100*day, 150*day
	aged := show(known)
	require.Equal(t, "aged", aged.Words())
	require.Equal(t, "+20 % between 2 and 5 months from 2026-11-24 on", aged.Outlook())
	require.InDelta(t, 6, *aged.Percent(aged.Index), 1e-9)
	known.MissedDays = 12
	require.Equal(t, "not judged for 12 days: the case is outside the 22 to 49 °C it was learnt at", show(known).Words())

	text, err := json.Marshal(aged)
	require.NoError(t, err)
	require.Contains(t, string(text), `"ageing_index":0.06`)
	require.Contains(t, string(text), `"earliest":"2027-02-02T00:00:00Z"`)
}
