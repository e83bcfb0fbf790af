package statistic_test

import (
	"encoding/csv"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
)

// columns reads a published data set of two columns.
func columns(t *testing.T, name string, n int) (first, second []float64) {
	f, err := os.Open("testdata/" + name)
	require.NoError(t, err)
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	require.NoError(t, err)
	require.Len(t, rows, n)
	for _, row := range rows {
		a, err := strconv.ParseFloat(row[0], 64)
		require.NoError(t, err)
		b, err := strconv.ParseFloat(row[1], 64)
		require.NoError(t, err)
		first, second = append(first, a), append(second, b)
	}
	return first, second
}

func nile(t *testing.T) []float64 {
	years, flow := columns(t, "nile.csv", 100)
	require.Equal(t, []float64{1871, 1970}, []float64{years[0], years[99]})
	return flow
}
