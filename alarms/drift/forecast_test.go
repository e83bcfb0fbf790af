package drift_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms/drift"
)

// course makes daily losses with a little noise from a function of the day.
func course(days int, loss func(d float64) float64) []drift.Day {
	out := make([]drift.Day, days)
	for i := range out {
		out[i] = drift.Day{Day: int32(20000 + i), Loss: float32(loss(float64(i)) + 0.01*math.Sin(float64(i*i)))}
	}
	return out
}

func TestPredict(t *testing.T) {
	exact := &drift.Quantiles{} // no band: what the fit itself says
	for _, tt := range []struct {
		name   string
		loss   func(d float64) float64
		left   float64 // days
		curved bool
		onset  int32
	}{
		// 0.01 dB a day since day 60: 0.4 dB at day 99.5, 3 dB at day 360
		{"ramp", func(d float64) float64 { return 0.01 * max(0, d-60) }, 360 - 99, false, 20060},
		// x = d-20: 0.005 x + 0.0001 x^2 = 3 at x = 150
		{"curve", func(d float64) float64 { x := max(0, d-20); return 0.005*x + 0.0001*x*x }, 170 - 99, true, 20020},
	} {
		t.Run(tt.name, func(t *testing.T) {
			f, ok := drift.Predict(course(100, tt.loss), 3, exact)
			require.True(t, ok)
			require.InEpsilon(t, tt.left, f.Middle.Hours()/24, 0.1)
			require.Equal(t, f.Middle, f.Lower)
			require.Equal(t, tt.curved, f.Curved)
			require.InDelta(t, tt.onset, f.Onset, 6)
			require.InDelta(t, tt.loss(99)/3, f.Share, 0.02)
			require.False(t, f.Open)

			wide, ok := drift.Predict(course(100, tt.loss), 3, drift.DefaultQuantiles())
			require.True(t, ok)
			require.Less(t, wide.Lower, wide.Middle)
			require.Less(t, wide.Middle, wide.Upper)
		})
	}
}

func TestNothingToPredict(t *testing.T) {
	q := drift.DefaultQuantiles()
	for name, days := range map[string][]drift.Day{
		"no days":      nil,
		"too few":      course(9, func(d float64) float64 { return d / 10 }),
		"it improves":  course(60, func(d float64) float64 { return -d / 100 }),
		"limit passed": course(60, func(d float64) float64 { return d / 10 }),
		"a century":    course(400, func(d float64) float64 { return d / 40000 }),
	} {
		_, ok := drift.Predict(days, 3, q)
		require.False(t, ok, name)
	}
}

func TestWords(t *testing.T) {
	const d = 24 * time.Hour
	for _, tt := range []struct {
		low, high time.Duration
		open      bool
		want      string
	}{
		{60 * d, 330 * d, false, "between 1 and 11 months"},
		{61 * d, 334 * d, false, "between 2 and 11 months"},
		{15 * d, 100 * d, false, "within 4 months"},
		{22 * d, 30 * d, false, "between 3 and 5 weeks"},
		{3 * d, 5 * d, false, "between 3 and 5 days"},
		{time.Hour, 5 * d, false, "within 5 days"},
		{time.Hour, 20 * time.Hour, false, "within a day"},
		{800 * d, 1500 * d, false, "between 2 and 5 years"},
		{800 * d, 0, true, "more than 2 years"},
		{100 * d, 0, true, "more than 3 months"},
		{time.Hour, 0, true, "open: days or many years"},
	} {
		f := drift.Forecast{Lower: tt.low, Upper: tt.high, Open: tt.open}
		require.Equal(t, tt.want, f.String())
	}
}

func TestFitTakesRanks(t *testing.T) {
	q := drift.DefaultQuantiles()
	var some []drift.Outcome
	for i := range 99 { // ln ratio -0.49 ... 0.49
		some = append(some, drift.Outcome{Share: 0.2, Ratio: math.Exp(float64(i-49) / 100)})
	}
	for range 19 {
		some = append(some, drift.Outcome{Share: 0.2, Curved: true, Ratio: 7})
	}
	some = append(some, drift.Outcome{Share: 0.2, Ratio: -1}, drift.Outcome{Share: 0.2, Ratio: math.NaN()})
	got := q.Fit(some)
	require.InDelta(t, -0.40, got.Ramp[1].Low, 1e-9) // the 10th of 99: ranks of 100
	require.InDelta(t, 0, got.Ramp[1].Middle, 1e-9)
	require.InDelta(t, 0.40, got.Ramp[1].High, 1e-9)
	require.Equal(t, q.Curve, got.Curve, "19 are too few")
	require.Equal(t, q.Ramp[0], got.Ramp[0])
}

func TestWidened(t *testing.T) {
	q := drift.DefaultQuantiles()
	require.Same(t, q, q.Widened(0.9))
	w := q.Widened(2)
	require.InDelta(t, 2*(q.Ramp[1].High-q.Ramp[1].Low), w.Ramp[1].High-w.Ramp[1].Low, 1e-9)
	require.Equal(t, q.Ramp[1].Middle, w.Ramp[1].Middle)
}

func TestCell(t *testing.T) {
	for share, want := range map[float64]int{-1: 0, 0: 0, 0.099: 0, 0.1: 1, 0.3: 2, 0.6: 3, 2: 3} {
		require.Equal(t, want, drift.Cell(share), share)
	}
}

// TestIntervalsHold: on points of other seeds than the quantiles were found on.
func TestIntervalsHold(t *testing.T) {
	_, inside, all, errs := outcomes(60, 30_000_000, drift.DefaultQuantiles())
	n, in := 0, 0
	var late []float64 // once 10 % is lost
	for k := range all {
		n, in = n+all[k], in+inside[k]
		if k > 0 {
			late = append(late, errs[k]...)
		}
	}
	require.Greater(t, n, 500)
	require.InDelta(t, 0.8, float64(in)/float64(n), 0.1)
	require.Less(t, median(late), 0.15)
}
