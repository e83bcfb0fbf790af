package main

import (
	"bytes"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms/baseline"
	"lightwell/alarms/web/view"
	"lightwell/collector"
)

// TestCommissionShowTellsWhatIsLearnt: how far each level is, which
// temperature explains it, and what is missing.
func TestCommissionShowTellsWhatIsLearnt(t *testing.T) {
	rx, tx := collector.Point{Quantity: collector.OpticalReceivePower}, collector.Point{Quantity: collector.OpticalTransmitPower}
	accepted := time.Date(2026, 11, 2, 10, 0, 0, 0, time.UTC)
	followed := baseline.Level{
		Value: -3.21, Settled: -3.24, Spread: 0.021, Phase: baseline.Final, Hours: 331, TempCoeff: -0.0203, TempCoeffSE: 0.0015, TempSpanC: 14,
		TempSource: baseline.FarEnd, TempUnit: "nq-roof",
	}
	steady := baseline.Level{Value: 1.5, Settled: 1.5, Spread: 0.01, Phase: baseline.Provisional, Hours: 24, Note: "no temperature has moved by 5 °C yet"}
	shown := view.NewCapture(
		baseline.Capture{Unit: "nq-room", State: baseline.Accepted, Reasons: []string{"no capture begun: begin one"}, Learning: &baseline.Learning{
			Phase: baseline.Provisional,
			Points: []baseline.PointLearning{
				{Point: rx, Phase: followed.Phase, Level: followed, Hours: 331},
				{Point: tx, Phase: steady.Phase, Level: steady, Hours: 40, Reasons: []string{"296 h to go of the 336 h that are needed: wait"}},
			},
		}},
		[]baseline.Record{{Unit: "nq-room", Version: 1, Accepted: accepted, By: "kim", Levels: map[collector.Point]baseline.Level{rx: {Value: -3.21}}}},
		[]baseline.Refinement{{Unit: "nq-room", Version: 1, At: accepted.AddDate(0, 0, 14), Levels: map[collector.Point]baseline.Level{rx: followed}}},
	)
	require.Len(t, shown.Versions[0].Refined, 1)
	require.Equal(t, -3.21, shown.Versions[0].Levels["optical_receive_power"].Value)
	var out bytes.Buffer
	require.NoError(t, printCapture(&out, shown))
	require.Equal(t, `nq-room: accepted, version 1 accepted 2026-11-02 10:00:00 UTC by kim
  baseline in force: provisional
  point                   accepted  settled  spread  unit  hours  phase        temperature
  optical_receive_power   -3.21     -3.24    0.021   dBm   331    final        follows the case of nq-roof (far end), -0.020 ±0.003 dB/°C over 14 °C
  optical_transmit_power  1.50      1.50     0.010   dBm   40     provisional  none is known to explain it
  optical_transmit_power: no temperature has moved by 5 °C yet
  optical_transmit_power stays provisional: 296 h to go of the 336 h that are needed: wait
`, out.String())
}
