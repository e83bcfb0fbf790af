package view_test

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/web/view"
	"lightwell/collector"
)

// planned returns plant with a plan: receivers need -12 dBm, and the first
// link has a radio plan with one noise figure.
func planned() *collector.Fleet {
	f := plant()
	least, sent := -12.0, 3.0
	for i := range f.Units {
		e := &f.Units[i].Equipment
		e.Limits.ReceivePowerMinDBm = &least
		e.Optics = collector.Optics{TransmitPowerDBm: &sent, MonitorErrorDB: 3, Noise: []collector.NoisePoint{{LossDB: 3, NoiseFigureDB: 26}}}
	}
	f.Links[0].RF = &collector.RF{GainBeforeLaserDB: 30, NoiseFigureBeforeLaserDB: 1.5, AntennaNoiseK: 130, CarrierDBW: -155, CN0MinDBHz: 37}
	return collector.NewFleet(*f)
}

func TestMarginOfALink(t *testing.T) {
	f := planned()
	rx, tx := pt(collector.OpticalReceivePower, ""), pt(collector.OpticalTransmitPower, "")
	b := view.NewBoard(view.Snapshot{Now: now, Fleet: f, Units: []alarms.UnitView{
		read(f, "roof", map[collector.Point]float64{tx: 3}, nil),
		read(f, "room1", map[collector.Point]float64{rx: -3, tx: 3}, map[collector.Point]float64{rx: -2}),
		read(f, "room2", map[collector.Point]float64{rx: -8}, map[collector.Point]float64{rx: 0}),
	}})
	one, two := b.Links()[0].Margin, b.Links()[1].Margin
	require.Equal(t, "downlink", one.Direction)
	require.Equal(t, 2.0, one.LostDB)
	require.Equal(t, 9.0, one.LeftDB, "-3 dBm against the -12 the receiver needs")
	require.Equal(t, "receiver light", one.Until)
	require.Less(t, one.LeftLow, 9.0)
	require.Equal(t, 37.0, *one.CN0Min)
	require.Less(t, *one.CN0Low, *one.CN0)
	require.Regexp(t, "^2.0 dB lost since commissioning; between [0-9]+ dB and 9 dB left", one.Sentence)
	require.Equal(t, 4.0, two.LeftDB)
	require.Nil(t, two.CN0, "no radio plan")
	_, err := json.Marshal(b.Links())
	require.NoError(t, err)
}

func TestMarginNotKnown(t *testing.T) {
	f := plant()
	b := view.NewBoard(view.Snapshot{Now: now, Fleet: f})
	require.Nil(t, b.Links()[0].Margin)
}
