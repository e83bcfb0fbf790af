package plan_test

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/collector"
)

func TestSheet(t *testing.T) {
	d := half(kind, kind)
	s := d.Sheet("nq")
	require.Equal(t, "nq", s.Link)
	require.Equal(t, 500.0, s.LengthM)
	require.InDelta(t, 1.275, s.Loss.Mean, 0.006)
	require.Equal(t, 2.01, s.Loss.Most)
	require.InDelta(t, -0.275, s.Light.Mean, 0.006)
	require.InDelta(t, 10.94, s.Failure.Loss.Expected, 0.15, "calc: closed solution, gain 30, C/N0 40")
	require.InDelta(t, s.Failure.Loss.Expected-1.275, s.Failure.Left.Expected, 0.01)
	require.Equal(t, s.Failure.Loss.Low, *s.Failure.Loss.High)
	require.Len(t, s.Against, 15, "three beyond the end")
	require.InDelta(t, 41.5, s.Against[10].CN0.Expected, 0.15, "calc: the table of C/N0 at gain 30")
	require.Equal(t, -9.0, *s.Against[10].LightDBm)
	require.Equal(t, -3.0, *s.Against[10].GainDB)
	require.Empty(t, s.Remarks)
}

func TestSheetIsJSONWhateverIsUnknown(t *testing.T) {
	for name, change := range map[string]func(from, to *collector.Equipment){
		"all":     func(_, _ *collector.Equipment) {},
		"nothing": func(from, to *collector.Equipment) { *from, *to = collector.Equipment{}, collector.Equipment{} },
		"one figure": func(from, to *collector.Equipment) {
			from.Optics.Noise = from.Optics.Noise[:1]
			to.Limits = collector.Limits{}
		},
		"hopeless": func(from, _ *collector.Equipment) {
			from.Optics.Noise = []collector.NoisePoint{{LossDB: 0, NoiseFigureDB: 90}}
		},
		"never failing": func(from, to *collector.Equipment) { *to = collector.Equipment{} },
	} {
		from, to := kind, kind
		change(&from, &to)
		d := half(from, to)
		data, err := json.Marshal(d.Sheet(""))
		require.NoError(t, err, name)
		require.NotContains(t, string(data), "Inf", name)
	}
}

func TestRemarks(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(from, to *collector.Equipment)
		want   string
	}{
		{"too bright", func(_, to *collector.Equipment) { to.Limits.ReceivePowerMaxDBm = ptr(-1.0) }, "more light than it bears: plan an attenuator"},
		{"too dark", func(_, to *collector.Equipment) { to.Limits.ReceivePowerMinDBm = ptr(-1.5) }, "a sound link may get less light than the receiver needs"},
		{"may be too dark", func(_, to *collector.Equipment) { to.Limits.ReceivePowerMinDBm = ptr(-3.0) }, "with every part at its limit"},
		{"little left", func(_, to *collector.Equipment) { to.Optics.AGCReserveDB = ptr(4.0) }, "only 2.0 dB are left for repairs and ageing until gain control has no reserve; 3 dB are usual"},
		{"hopeless", func(from, _ *collector.Equipment) {
			from.Optics.Noise = []collector.NoisePoint{{LossDB: 0, NoiseFigureDB: 90}}
		}, "it does not work as planned: C/N0 is too low"},
	} {
		from, to := kind, kind
		c.change(&from, &to)
		d := half(from, to)
		remarks := d.Sheet("").Remarks
		require.NotEmpty(t, remarks, c.name)
		require.Contains(t, remarks[0], c.want, c.name)
	}
}
