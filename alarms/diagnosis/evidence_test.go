package diagnosis_test

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/baseline"
	"lightwell/collector"
)

// evidenceOf returns the evidence of the first finding as one text.
func evidenceOf(t *testing.T, v *alarms.View) string {
	t.Helper()
	return strings.Join(firstOf(t, v).Evidence, "\n")
}

// TestTwoToOneInWords: check values 72 and 73 of the usual table, and what
// lies between and beside them.
func TestTwoToOneInWords(t *testing.T) {
	for name, c := range map[string]struct {
		light, rf float64
		want      string
	}{
		"3.9 for 2.0":        {-2.0, -3.9, "RF moved -3.9 dB for -2.0 dB of light, 1.9 to one: a real optical loss"}, // q 1.95
		"nothing for 2.0":    {-2.0, 0, "RF moved 0.0 dB for -2.0 dB of light: the light did not really move"},
		"8 for 2":            {-2.0, -8, "RF moved -8.0 dB for -2.0 dB of light, 4.0 to one: not the light alone"},
		"0.8 for 0.5":        {-0.5, -0.8, "RF moved -0.8 dB for -0.5 dB of light: too little to tell a real loss from a monitor by"},
		"an edge, with room": {-3, -7.4, "RF moved -7.4 dB for -3.0 dB of light, 2.5 to one: a real optical loss"},
	} {
		t.Run(name, func(t *testing.T) {
			v := still(t, layout{})
			move(v, "i1", collector.OpticalReceivePower, c.light)
			move(v, "i1", collector.RFOutputLevel, c.rf)
			require.Contains(t, evidenceOf(t, v), c.want)
		})
	}
}

// TestGainControlIsTakenOut: an output that is held is one that has fallen by
// what the gain control put back.
func TestGainControlIsTakenOut(t *testing.T) {
	v := still(t, layout{})
	move(v, "i1", collector.OpticalReceivePower, -2)
	move(v, "i1", collector.AGCAttenuation, -4)
	text := evidenceOf(t, v)
	require.Contains(t, text, "RF out of i1 is 4.0 dB below its baseline, gain control taken out")
	require.Contains(t, text, "a real optical loss")
}

func TestCommonCauseInWords(t *testing.T) {
	v := still(t, layout{})
	dirtyFibre(v)
	require.Contains(t, evidenceOf(t, v), "3 other fibres of cable c1 are as they were")
	dark := func(pv *alarms.PointView) { pv.Reading.Value, pv.Compared = baseline.NoLightDBm, false }
	for _, u := range []string{"i1", "i2", "o1", "o2"} {
		move(v, u, collector.OpticalReceivePower, 0, dark)
	}
	require.Contains(t, evidenceOf(t, v), "all fibres of cable c1 that can be read are struck (4 of 4)")
}

func TestCourseInWords(t *testing.T) {
	for want, past := range map[string]alarms.Past{
		"it came between two polls": {Settled: true, Left: at.Add(-time.Hour), First: -2},
		"it came little by little":  {Settled: true, Left: at.Add(-time.Hour), First: -0.3},
		"it comes and goes":         {Settled: true, Left: at.Add(-time.Hour), First: -2, Returns: 4},
	} {
		v := still(t, layout{})
		dirtyFibre(v)
		move(v, "i1", collector.OpticalReceivePower, 0, func(pv *alarms.PointView) { pv.Past = past })
		f := firstOf(t, v)
		require.Contains(t, f.Evidence, want)
		require.Equal(t, at.Add(-time.Hour), f.Since)
	}
}

// TestTemperatureInWords: a swing follows the case whose course over the day
// has its turns at the same hours.
func TestTemperatureInWords(t *testing.T) {
	for name, c := range map[string]struct {
		phase float64
		want  bool
	}{"together": {1, true}, "against each other": {1 + 3.14, true}, "a quarter of a day apart": {1 + 1.57, false}} {
		t.Run(name, func(t *testing.T) {
			v := still(t, layout{})
			swing := func(pv *alarms.PointView) { pv.Daily = &alarms.Daily{Amplitude: 0.9, Phase: 1, Share: 0.95} }
			move(v, "i1", collector.OpticalReceivePower, -0.6, swing)
			move(v, "o1", collector.Temperature, 0, func(pv *alarms.PointView) { pv.Daily = &alarms.Daily{Amplitude: 8, Phase: c.phase, Share: 0.95} })
			text := evidenceOf(t, v)
			require.Contains(t, text, "the light at i1 swings by 0.9 dB either way over the day")
			require.Equal(t, c.want, strings.Contains(text, "it follows the case temperature of o1 over the day"))
		})
	}
}

// TestManySignsAreSummedUp: twenty dark receivers are not twenty lines.
func TestManySignsAreSummedUp(t *testing.T) {
	v := still(t, layout{links: 10, via: true})
	for _, u := range v.Units {
		if u.Unit.Role == collector.Indoor {
			move(v, u.Unit.ID, collector.OpticalReceivePower, 0, func(pv *alarms.PointView) { pv.Reading.Value, pv.Compared = baseline.NoLightDBm, false })
		}
	}
	f := firstOf(t, v)
	require.Equal(t, "cable-cut", f.Cause)
	require.LessOrEqual(t, len(f.Evidence), 8)
	require.Contains(t, strings.Join(f.Evidence, "\n"), "4 more signs like these")
	require.Len(t, f.Links, 10)
}
