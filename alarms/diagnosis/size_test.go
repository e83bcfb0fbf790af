package diagnosis_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/diagnosis"
	"lightwell/collector"
)

// TestSizeIsRecovered: the size of a finding is that of the fault.
func TestSizeIsRecovered(t *testing.T) {
	for name, c := range map[string]struct {
		change func(v *alarms.View, size float64)
		cause  string
		sizes  []float64
		within float64
	}{
		"light on the way": {func(v *alarms.View, x float64) {
			move(v, "i1", collector.OpticalReceivePower, -x)
			move(v, "i1", collector.RFOutputLevel, -2*x)
		}, "connector-dirty", []float64{0.7, 1.5, 3.8, 9}, 0.1},
		"antenna": {func(v *alarms.View, x float64) {
			move(v, "o1", collector.RFInputLevel, -x)
			move(v, "i1", collector.RFOutputLevel, -x)
		}, "antenna-obstructed", []float64{3, 6, 15}, 0.2},
		"noise": {func(v *alarms.View, x float64) {
			move(v, "o1", collector.RFNoiseFloor, x)
		}, "reflection", []float64{5, 12}, 0.4},
		"bias, per cent of 23 mA": {func(v *alarms.View, x float64) {
			move(v, "o1", collector.LaserBias, 0.23*x, func(pv *alarms.PointView) { pv.Past = alarms.Past{Settled: true, Left: at.Add(-time.Hour), First: 0.4} })
		}, "laser-ageing", []float64{15, 40, 100}, 1},
		"a bend at two wavelengths": {func(v *alarms.View, x float64) {
			for i := range v.Fleet.Links {
				v.Fleet.Links[i].Uplink.WavelengthNM = 1550
			}
			move(v, "i1", collector.OpticalReceivePower, -x)
			move(v, "i1", collector.RFOutputLevel, -2*x)
			move(v, "o1", collector.OpticalReceivePower, -9.2*x) // G.657.A1: twice the loss in 75 nm, so 2^3.2 from 1310 to 1550 nm
			move(v, "o1", collector.RFOutputLevel, -18.4*x)
		}, "fibre-bend", []float64{0.4, 1}, 0.1},
	} {
		for _, size := range c.sizes {
			v := still(t, layout{})
			c.change(v, size)
			f := firstOf(t, v)
			require.Equal(t, c.cause, f.Cause, "%s, %g: %s", name, size, describe([]alarms.Finding{f}))
			require.InDelta(t, size, *f.Size, c.within+0.05, name)
		}
	}
}

// TestBiasFollowsTemperature: the worked laser of the usual text (threshold 8
// mA, 0.2 W/A, 3 mW, T0 60 K, T1 200 K) at temperatures from -40 to 70 °C is
// sound, and by a quarter more it has aged.
func TestBiasFollowsTemperature(t *testing.T) {
	for caseC, bias := range map[float64]float64{-40: 13.5, 0: 18.5, 25: 23.0, 45: 27.7, 50: 29.1, 70: 35.7} {
		v := still(t, layout{})
		move(v, "o1", collector.Temperature, caseC-25)
		move(v, "o1", collector.LaserBias, bias-23)
		found := diagnosis.Diagnose(v)
		require.Empty(t, found, "%g °C: %s", caseC, describe(found))
	}
	v := still(t, layout{})
	move(v, "o1", collector.LaserBias, 23*0.25)
	require.Equal(t, "laser-ageing", firstOf(t, v).Cause)
}

// TestPartOfTheLight: a receiver that hears five transmitters through a
// combiner loses 10·log10(4/5) = -0.97 dB with one of them, and not its light.
func TestPartOfTheLight(t *testing.T) {
	v := still(t, layout{links: 5, shared: true})
	move(v, "i3", collector.OpticalTransmitPower, -40, func(pv *alarms.PointView) { pv.Compared = false })
	failed, _ := collector.LaserState.StateValue(collector.StateFailed)
	move(v, "i3", collector.LaserState, failed)
	move(v, "i3", collector.LaserBias, -23)
	move(v, "o1", collector.OpticalReceivePower, -0.97)
	found := diagnosis.Diagnose(v)
	require.Len(t, found, 1, describe(found))
	require.Equal(t, "laser-failed", found[0].Cause)
	require.Equal(t, "unit/i3", found[0].Resource)
}
