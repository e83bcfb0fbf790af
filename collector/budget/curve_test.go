package budget_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/collector/budget"
)

// manualATable is the input noise that manual A prints at 1.5 GHz by optical
// loss.
var manualATable = map[budget.DB]float64{
	0: -150.4, 2: -148.9, 4: -147.0, 5: -145.6, 6: -144.1, 7: -142.4, 8: -140.7, 9: -139.1, 10: -137.2, 11: -135.5,
	12: -133.5, 13: -131.6, 14: -129.67, 15: -127.7, 16: -125.7, 17: -123.8,
}

func TestCurveThroughThreePointsMeetsAll(t *testing.T) {
	for loss, ein := range manualATable {
		require.InDelta(t, ein, budget.InputNoise(manualA().NoiseFigure(loss)).Float(), 0.35, "pub: manual A at %g dB", float64(loss))
	}
}

func TestCurveOverAllPoints(t *testing.T) {
	var points []budget.NoisePoint
	for loss, ein := range manualATable {
		points = append(points, budget.NoisePoint{Loss: loss, NoiseFigure: budget.NoiseFigure(budget.Level(ein))})
	}
	c, err := budget.FitCurve(points)
	require.NoError(t, err)
	for _, p := range points {
		require.InDelta(t, float64(p.NoiseFigure), float64(c.NoiseFigure(p.Loss)), 0.2, "pub: manual A; the worst of 29 points is 0.17 dB off")
	}
	for _, pair := range [][2]float64{{c.A, fitted.A}, {c.B, fitted.B}, {c.C, fitted.C}} {
		require.InEpsilon(t, pair[1], pair[0], 0.08, "calc: fit over all 29 points")
	}
}

// TestNoiseTable is C/N0 against optical loss, for four gains before the
// laser: noise of manual A at 1.5 GHz, C -155 dBW, 130 K, NF 1.5 dB. Calc from
// the cascade formula.
func TestNoiseTable(t *testing.T) {
	n := fittedNoise()
	gains := []budget.DB{25, 30, 35, 40}
	for loss, row := range [][]float64{
		{23.5, 2.61, 1.01, 0.34, 0.11, 48.6, 49.5}, {24.2, 2.92, 1.15, 0.40, 0.13, 48.5, 49.5}, {25.0, 3.34, 1.36, 0.48, 0.16, 48.3, 49.5},
		{26.0, 3.90, 1.65, 0.59, 0.20, 48.0, 49.4}, {27.1, 4.62, 2.04, 0.76, 0.25, 47.6, 49.4}, {28.5, 5.53, 2.59, 0.99, 0.34, 47.0, 49.3},
		{29.9, 6.63, 3.30, 1.34, 0.47, 46.3, 49.2}, {31.5, 7.91, 4.21, 1.81, 0.66, 45.4, 49.0}, {33.2, 9.35, 5.33, 2.46, 0.94, 44.3, 48.7},
		{34.9, 10.94, 6.63, 3.30, 1.34, 43.0, 48.3}, {36.7, 12.63, 8.11, 4.36, 1.90, 41.5, 47.7}, {38.6, 14.40, 9.73, 5.63, 2.65, 39.9, 47.0},
		{40.5, 16.23, 11.45, 7.08, 3.61, 38.2, 46.0}, {42.4, 18.11, 13.25, 8.68, 4.79, 36.4, 44.8}, {44.3, 20.02, 15.11, 10.39, 6.18, 34.5, 43.4},
		{46.3, 21.96, 17.01, 12.20, 7.73, 32.6, 41.9},
	} {
		at := budget.DB(loss)
		require.InDelta(t, row[0], n.NoiseFigure(at).Middle, 0.06, "noise figure at %d dB", loss)
		for i, gain := range gains {
			require.InDelta(t, row[1+i], db(front(gain).Lost(fitted.Factor(at))), 0.01, "gain %g, %d dB", float64(gain), loss)
		}
		for i, gain := range []budget.DB{30, 40} {
			s := budget.Service{Front: front(gain), Carrier: budget.FromDBW(-155)}
			require.InDelta(t, row[5+i], s.CN0(n, at).Middle, 0.06, "C/N0, gain %g, %d dB", float64(gain), loss)
		}
	}
	require.InDelta(t, 49.63, db(budget.CarrierToNoise(budget.FromDBW(-155), front(30).Kelvin())), 0.01)
	require.InDelta(t, 249.6, front(30).Kelvin(), 0.1)
}

func TestFailureTable(t *testing.T) {
	n := fittedNoise()
	for gain, row := range map[budget.DB][]float64{
		25: {8.18, 10.00, 11.13, 12.74}, 30: {10.94, 12.66, 13.74, 15.32}, 35: {13.56, 15.23, 16.30, 17.86}, 40: {16.12, 17.77, 18.83, 20.38},
	} {
		for i, least := range []budget.DB{40, 37, 35, 32} {
			s := budget.Service{Front: front(gain), Carrier: budget.FromDBW(-155), CN0Min: least}
			fails := s.Fails(n)
			require.True(t, fails.Exact())
			require.InDelta(t, row[i], fails.Middle, 0.02, "calc: closed solution")
			require.InDelta(t, float64(least), s.CN0(n, budget.DB(fails.Middle)).Middle, 1e-6, "it is the inverse of C/N0")
		}
	}
}

func TestReaches(t *testing.T) {
	require.True(t, math.IsInf(float64(budget.Curve{A: 10}.Reaches(20)), 1), "laser noise never grows")
	require.True(t, math.IsInf(float64(budget.Curve{A: 10, C: 1}.Reaches(10)), -1), "too noisy at any loss")
	require.InDelta(t, 10, db(budget.Curve{B: 2}.Reaches(20)), 1e-9)
	require.InDelta(t, 10, db(budget.Curve{C: 2}.Reaches(200)), 1e-9)
	require.Equal(t, 1.0, budget.Curve{}.Factor(10), "no link is better than none")
}

func TestFitRefusesNonsense(t *testing.T) {
	for name, points := range map[string][]budget.NoisePoint{
		"none":             {},
		"two":              {{0, 20}, {5, 25}},
		"one loss thrice":  {{1, 20}, {1, 21}, {1, 22}},
		"falls with loss":  {{0, 30}, {5, 25}, {10, 40}},
		"below zero":       {{0, -1}, {5, 25}, {10, 40}},
		"not a number":     {{0, budget.DB(math.NaN())}, {5, 25}, {10, 40}},
		"loss no number":   {{budget.DB(math.NaN()), 20}, {5, 25}, {10, 40}},
		"infinitely noisy": {{0, 20}, {5, 25}, {10, budget.DB(math.Inf(1))}},
	} {
		_, err := budget.NewLinkNoise(points)
		require.ErrorIs(t, err, budget.ErrNoise, name)
	}
	require.False(t, budget.LinkNoise{}.Known())
}

// TestFitIsNeverNegative: points that no positive sum meets get the nearest.
func TestFitIsNeverNegative(t *testing.T) {
	for _, points := range [][]budget.NoisePoint{
		{{0, 20}, {5, 20}, {10, 20}},
		{{0, 10}, {5, 25}, {10, 45}},
		{{0, 20}, {8, 20.1}, {17, 60}},
	} {
		c, err := budget.FitCurve(points)
		require.NoError(t, err)
		require.True(t, c.A >= 0 && c.B >= 0 && c.C >= 0 && c != budget.Curve{}, "%+v", c)
	}
}

func TestOneNoiseFigureGivesBounds(t *testing.T) {
	n, err := budget.NewLinkNoise([]budget.NoisePoint{{Loss: 3, NoiseFigure: 30}})
	require.NoError(t, err)
	r := n.NoiseFigure(8)
	require.InDelta(t, 30, r.Low, 1e-9)
	require.InDelta(t, 35, r.Middle, 1e-9)
	require.InDelta(t, 40, r.High, 1e-9)
	r = n.NoiseFigure(1)
	require.InDelta(t, 26, r.Low, 1e-9, "before its loss the bounds change sides")
	require.InDelta(t, 30, r.High, 1e-9)
	require.True(t, n.NoiseFigure(3).Exact())
	fails := budget.Service{Front: front(40), Carrier: budget.FromDBW(-155), CN0Min: 40}.Fails(n)
	require.True(t, math.IsInf(fails.High, 1))
	require.Less(t, fails.Low, fails.Middle)
}

func BenchmarkFitCurve(b *testing.B) {
	points := []budget.NoisePoint{{0, 23.6}, {8, 33.3}, {17, 50.2}}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := budget.FitCurve(points); err != nil {
			b.Fatal(err)
		}
	}
}
