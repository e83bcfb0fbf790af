package statistic_test

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/alarms/statistic"
)

// TestNorris: NIST Statistical Reference Datasets, Norris, certified values;
// check value 20.
func TestNorris(t *testing.T) {
	x, y := columns(t, "norris.csv", 36)
	rows := make([][]float64, len(x))
	for i := range x {
		rows[i] = []float64{1, x[i]}
	}
	fit, ok := statistic.LeastSquares(rows, y)
	require.True(t, ok)
	require.InDelta(t, -0.262323073774029, fit.Coeff[0], 1e-11)
	require.InDelta(t, 1.00211681802045, fit.Coeff[1], 1e-13)
	require.InDelta(t, 0.232818234301152, fit.SE[0], 1e-12)
	require.InDelta(t, 0.429796848199937e-3, fit.SE[1], 1e-14)
	left, total := 34*fit.ResidualSD*fit.ResidualSD, 0.0
	for _, v := range y {
		total += (v - mean(y)) * (v - mean(y))
	}
	require.InDelta(t, 0.999993745883712, 1-left/total, 1e-14, "R squared")
	require.InDelta(t, 0.884796396144373, fit.ResidualSD, 1e-12)
	require.InDelta(t, 0.782864662630069, fit.ResidualSD*fit.ResidualSD, 1e-12)
	require.Equal(t, 36, fit.N)
}

// The standard errors are those of the estimates: over many draws, the spread
// of the coefficients.
func TestStandardErrorsOfThreeCoefficients(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 4))
	truth := []float64{-3.2, -0.012, 0.001}
	var rows [][]float64
	for i := range 120 {
		rows = append(rows, []float64{1, 20 + 8*r.Float64(), float64(i)})
	}
	const draws = 500
	off, claimed := make([]float64, 3), make([]float64, 3)
	for range draws {
		y := make([]float64, len(rows))
		for i, row := range rows {
			y[i] = truth[0] + truth[1]*row[1] + truth[2]*row[2] + 0.05*r.NormFloat64()
		}
		fit, ok := statistic.LeastSquares(rows, y)
		require.True(t, ok)
		require.InDelta(t, y[7], fit.At(rows[7]), 0.3)
		for k := range truth {
			off[k] += (fit.Coeff[k] - truth[k]) * (fit.Coeff[k] - truth[k]) / draws
			claimed[k] += fit.SE[k] * fit.SE[k] / draws
		}
	}
	for k := range truth {
		require.InEpsilon(t, claimed[k], off[k], 0.25, "coefficient %d", k)
	}
}

func TestWhatCannotBeFitted(t *testing.T) {
	for _, c := range []struct {
		name string
		rows [][]float64
		y    []float64
	}{
		{"nothing", nil, nil},
		{"as many rows as columns", [][]float64{{1, 2}, {1, 3}}, []float64{1, 2}},
		{"rows missing", [][]float64{{1, 2}}, []float64{1, 2, 3}},
		{"a temperature that never moved", [][]float64{{1, 21}, {1, 21}, {1, 21}, {1, 21}}, []float64{1, 2, 3, 4}},
	} {
		_, ok := statistic.LeastSquares(c.rows, c.y)
		require.False(t, ok, c.name)
	}
	flat, ok := statistic.LeastSquares([][]float64{{1}, {1}, {1}}, []float64{5, 5, 5})
	require.True(t, ok)
	require.InDelta(t, 5, flat.Coeff[0], 1e-12)
}

func mean(values []float64) (m float64) {
	for _, v := range values {
		m += v / float64(len(values))
	}
	return m
}
