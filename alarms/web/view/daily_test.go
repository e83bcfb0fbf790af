package view_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/drift"
	"lightwell/alarms/web/view"
	"lightwell/collector"
)

// TestASwingOverTheDayInWords: how far, and whose case it follows.
func TestASwingOverTheDayInWords(t *testing.T) {
	rx := collector.Point{Quantity: collector.OpticalReceivePower}
	for name, c := range map[string]struct {
		daily       *alarms.Daily
		thermometer string
		coeff       float64
		want        string
	}{
		"follows the far end":   {&alarms.Daily{Amplitude: 0.2, Share: 0.9}, "roof", 0.02, "0.4 dB over the day, follows the case temperature of roof"},
		"follows nothing known": {&alarms.Daily{Amplitude: 0.2, Share: 0.9}, "roof", 0.001, "0.4 dB over the day, follows no temperature that is read"},
		"too small":             {&alarms.Daily{Amplitude: 0.04, Share: 0.9}, "roof", 0.02, ""},
		"not of the day":        {&alarms.Daily{Amplitude: 0.2, Share: 0.4}, "roof", 0.02, ""},
		"not known":             {nil, "roof", 0.02, ""},
	} {
		pv := alarms.PointView{Daily: c.daily, Thermometer: c.thermometer, Trend: &drift.Trend{Phase: drift.Final, TempCoeff: c.coeff, TempCoeffSE: 0.002}}
		u := collector.Unit{ID: "room", Site: "s", Equipment: collector.Equipment{Points: []collector.Point{rx}}}
		b := view.NewBoard(view.Snapshot{
			Now: now, Fleet: collector.NewFleet(collector.Fleet{Units: []collector.Unit{u}}),
			Units: []alarms.UnitView{{Unit: u, Points: map[collector.Point]alarms.PointView{rx: pv}}},
		})
		shown, ok := b.Unit("room")
		require.True(t, ok)
		require.Equal(t, c.want, shown.Trends()[0].Trend.Daily, name)
	}
}
