package baseline_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/alarms/baseline"
	"lightwell/collector"
)

// planned is a PlanCheck that finds what light below -5 dBm means.
func planned(f *collector.Fleet, unit string, levels baseline.Levels) []baseline.Remark {
	l, ok := levels(unit, rx)
	if !ok {
		return nil
	}
	out := []baseline.Remark{{Text: "compared"}}
	if l.Value < -5 {
		out = append(out, baseline.Remark{Text: "too much loss", Grave: true})
	}
	return out
}

// capture runs a capture of unit n that reads so much light.
func captured(t *testing.T, light float64, plan baseline.PlanCheck) *bench {
	cfg := baseline.Default()
	cfg.Plan = plan
	book, err := baseline.NewBook(&store{}, cfg)
	require.NoError(t, err)
	book.SetFleet(fleet("m", "n"))
	b := &bench{t: t, book: book, now: start}
	require.NoError(t, book.Begin([]string{"n"}, "anna", b.now))
	for range 12 {
		b.now = b.now.Add(cfg.MinTime / 10)
		p := collector.Poll{Unit: "n", Started: b.now}
		for point, v := range map[collector.Point]float64{rx: light, bias: 23, temp: 25} {
			p.Readings = append(p.Readings, collector.Reading{Unit: "n", Point: point, Value: v, Taken: b.now})
		}
		book.Observe(p)
	}
	return b
}

func TestSoundCaptureIsAcceptedWithItsRemarks(t *testing.T) {
	b := captured(t, -2, planned)
	shown := b.book.Show("n", b.now)
	require.True(t, shown.Ready, shown.Reasons)
	require.Equal(t, []string{"compared"}, shown.Remarks)
	require.NoError(t, b.book.Accept([]string{"n"}, "anna", "", false, b.now))
	require.Equal(t, []string{"compared"}, b.book.History("n")[0].Remarks)
}

// TestBadFromTheFirstDayNeedsForce: what the plan speaks against is not
// accepted silently.
func TestBadFromTheFirstDayNeedsForce(t *testing.T) {
	b := captured(t, -7, planned)
	shown := b.book.Show("n", b.now)
	require.False(t, shown.Ready)
	require.Equal(t, []string{"too much loss"}, shown.Reasons)
	require.ErrorIs(t, b.book.Accept([]string{"n"}, "anna", "", false, b.now), baseline.ErrNotReady)
	require.ErrorIs(t, b.book.Accept([]string{"n"}, "anna", "", true, b.now), baseline.ErrNoReason)
	require.NoError(t, b.book.Accept([]string{"n"}, "anna", "no cleaner at hand", true, b.now))
	r := b.book.History("n")[0]
	require.True(t, r.Forced)
	require.Equal(t, []string{"too much loss"}, r.Findings)
	require.Equal(t, []string{"compared", "too much loss"}, r.Remarks)
}

func TestPlanSeesWhatIsInForce(t *testing.T) {
	seen := 0.0
	b := captured(t, -2, func(_ *collector.Fleet, unit string, levels baseline.Levels) []baseline.Remark {
		if l, ok := levels(unit, rx); ok {
			seen = l.Value
		}
		_, ok := levels("nobody", rx)
		require.False(t, ok)
		return nil
	})
	require.NoError(t, b.book.Accept([]string{"n"}, "anna", "", false, b.now))
	require.NoError(t, b.book.Begin([]string{"n"}, "anna", b.now))
	seen = 0
	b.book.Show("n", b.now)
	require.Equal(t, -2.0, seen, "the baseline in force, until the capture has readings")
}
