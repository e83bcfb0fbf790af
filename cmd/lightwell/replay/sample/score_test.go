package sample_test

import (
	"bytes"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/cmd/lightwell/replay/sample"
)

const day = 86400.0

func alarm(series string, days float64, kind string) sample.Detection {
	return sample.Detection{Series: series, Time: int64(days * day), Kind: kind, Fail: math.NaN(), Low: math.NaN(), High: math.NaN()}
}

func forecast(days, fail, low, high float64) sample.Detection {
	return sample.Detection{Series: "d", Time: int64(days * day), Kind: "forecast", Fail: fail * day, Low: low * day, High: high * day}
}

var truth = map[string]*sample.Label{
	"h": {Series: "h", Kind: "healthy", Days: 379},                                                                                                                    // 365 days watched
	"d": {Series: "d", Kind: "drift", Shape: "linear", Start: 100 * day, End: 400 * day, Rate: 0.3, Fail: (100 + 10*30.4375) * day, Days: 400, Magnitude: math.NaN()}, // 86
	"s": {Series: "s", Kind: "step", Start: 50 * day, End: 365 * day, Magnitude: 0.5, Days: 365},                                                                      // 36
	"i": {Series: "i", Kind: "intermittent", Start: 50 * day, End: 60 * day, Magnitude: 2, Days: 100},                                                                 // 36 and 33
	"v": {Series: "v", Kind: "service", Start: 50 * day, End: 51 * day, Days: 100},                                                                                    // 86
}

func TestAlarmsAreJudged(t *testing.T) {
	s, err := sample.Judge(truth, []sample.Detection{
		alarm("h", 200, "drift"), alarm("h", 206, "step"), alarm("h", 212, "drift"), // one: each within 7 days of the last
		alarm("h", 300, "step"), alarm("h", 310, "fan"), // kinds that are no alarm are passed over
		alarm("d", 99, "drift"), alarm("d", 130, "drift"), alarm("d", 110, "step"),
		alarm("s", 50.5, "step"),
		alarm("i", 66, "intermittent"), alarm("i", 90, "drift"), // found within a week of its end; then a false one
	})
	require.NoError(t, err)
	require.InDelta(t, (365+86+36+36+33+86)/365.25, s.PointYears, 1e-9)
	require.Equal(t, map[string]int{"drift": 3, "step": 1}, s.False)
	n, rate := s.FalseAlarms()
	require.Equal(t, 4, n)
	require.InDelta(t, 400*365.25/642, rate, 1e-9)

	d := s.Faults["drift >=0.3 dB/month"]
	require.Equal(t, []float64{10}, d.Delays)
	require.InDelta(t, 0.3*10/30.4375, d.Losses[0], 1e-9)
	require.InDelta(t, 304.375-10, d.Led[0], 1e-9)
	require.Zero(t, d.TooLate)
	require.Equal(t, []float64{0.5}, s.Faults["step 0.3-0.7 dB"].Delays)
	require.Equal(t, []float64{16}, s.Faults["intermittent"].Delays)
}

func TestForecastsAreJudged(t *testing.T) {
	s, err := sample.Judge(truth, []sample.Detection{
		forecast(110, 404.375, 300, 500),                     // exact, 3.3 % lost
		forecast(119, 900, 900, 901),                         // the same ten days: passed over
		forecast(150, 150+2*(404.375-150), 405, math.Inf(1)), // twice as long, outside, 16 % lost
		forecast(90, 404, 300, 500), forecast(405, 406, 405, 500),
	})
	require.NoError(t, err)
	require.Equal(t, 1, s.Predicted)
	require.Equal(t, 1, s.Drifting)
	require.InDelta(t, 0, s.Forecasts[0].Errors[0], 1e-4)
	require.Equal(t, 1, s.Forecasts[0].Inside)
	require.InDelta(t, 390.0/190, s.Forecasts[0].Widths[0], 1e-6)
	require.InDelta(t, 1, s.Forecasts[1].Errors[0], 1e-6)
	require.InDelta(t, math.Ln2, s.Forecasts[1].LogErrors[0], 1e-6)
	require.Equal(t, []int{0, 1}, []int{s.Forecasts[1].Inside, s.Forecasts[1].Intervals})
	require.Empty(t, s.Forecasts[2].Errors)

	var out bytes.Buffer
	require.NoError(t, s.WriteText(&out))
	require.Contains(t, out.String(), "drift >=0.3 dB/month          1      0.0%         +Inf        +Inf             -              -          0\n")
	require.Contains(t, out.String(), "all: n 2 from 1 of 1 drifting series, coverage 50.0 %\n")
}

func TestShapesOfDrift(t *testing.T) {
	for shape, lost := range map[string]float64{"linear": 0.3, "quadratic": 0.3 * (1 + 1.0/8), "exponential": 0.9 * math.Expm1(1.0/3)} {
		l := *truth["d"]
		l.Shape = shape
		s, err := sample.Judge(map[string]*sample.Label{"d": &l}, []sample.Detection{alarm("d", 100+30.4375, "drift")})
		require.NoError(t, err)
		require.InDelta(t, lost, s.Faults["drift >=0.3 dB/month"].Losses[0], 1e-9, shape)
	}
}

func TestUnknownSeries(t *testing.T) {
	_, err := sample.Judge(truth, []sample.Detection{alarm("x", 1, "drift")})
	require.EqualError(t, err, `score: series "x" has detections and no label`)
}
