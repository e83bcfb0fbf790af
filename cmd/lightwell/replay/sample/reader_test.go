package sample_test

import (
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/cmd/lightwell/replay/sample"
)

const head = "series,day,rx_cdb,temp_ddegc\n"

// folder writes readings and visits; without visits there is no such file.
func folder(t testing.TB, readings, service string) string {
	dir := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(dir, "readings.csv"), []byte(readings), 0o600))
	if service != "" {
		require.NoError(t, os.WriteFile(filepath.Join(dir, "service.csv"), []byte(service), 0o600))
	}
	return dir
}

func TestNonsenseIsTold(t *testing.T) {
	for _, tt := range []struct{ name, readings, service, want string }{
		{"nothing", "", "", "readings.csv:1:1: the file is empty"},
		{"other header", "time,unit\n", "", `readings.csv:1:1: the first line is "time,unit"`},
		{"columns missing", head + "a,0,1 2\n", "", "readings.csv:2:1: 3 columns"},
		{"columns more", head + "a,0,1,2,3\n", "", "readings.csv:2:1: more than 4 columns"},
		{"day", head + "a,soon,1,2\n", "", `readings.csv:2:1: day "soon" is no number`},
		{"day before 0", head + "a,-1,1,2\n", "", "from 0 to"},
		{"day far", head + "a,99999999,1,2\n", "", "from 0 to"},
		{"no name", head + ",0,1,2\n", "", "the series has no name"},
		{"days not in order", head + "a,1,1,2\nb,0,1,2\na,1,1,2\n", "", `readings.csv:4:1: day 1 of series "a" comes after day 1`},
		{"reading", head + "a,0,1 nan,2 3\n", "", `reading 2, "nan", is no whole number`},
		{"reading empty", head + "a,0,,\n", "", `reading 1, "", is no whole number`},
		{"reading too large", head + "a,0,99999999,1\n", "", "is no whole number"},
		{"counts differ", head + "a,0,1 2,3\n", "", "2 readings of power beside 1 of temperature"},
		{"visit ends before it begins", head + "a,0,1,2\n", "series,begin_s,finish_s\na,5,4\n", "service.csv:2:1: the visit does not end"},
		{"visit without a column", head + "a,0,1,2\n", "series,begin_s\n", `service.csv:1:1: column "finish_s" is missing`},
		{"visit without a time", head + "a,0,1,2\n", "series,begin_s,finish_s\na,,4\n", "service.csv:2:1: the visit does not end"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			_, err := sample.Run(t.Context(), folder(t, tt.readings, tt.service))
			require.ErrorContains(t, err, tt.want)
		})
	}
	_, err := sample.Run(t.Context(), t.TempDir())
	require.ErrorIs(t, err, os.ErrNotExist)
}

func TestBrokenArchive(t *testing.T) {
	dir := t.TempDir()
	whole, err := os.ReadFile(corpus + "/readings.csv.gz")
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "readings.csv.gz"), whole[:len(whole)/2], 0o600))
	_, err = sample.Run(t.Context(), dir)
	require.ErrorIs(t, err, io.ErrUnexpectedEOF)
	require.ErrorContains(t, err, "readings.csv.gz at line ")
}

func TestTablesOfTruth(t *testing.T) {
	const columns = "series,kind,start_s,end_s,rate_db_per_month,shape,magnitude_db,fail_s,days\n"
	for want, text := range map[string]string{
		"labels: the file is empty":                            "",
		`labels:1:1: column "days" is missing`:                 "series,kind,start_s,end_s,rate_db_per_month,shape,magnitude_db,fail_s\n",
		"labels:2:1: days is missing":                          columns + "a,healthy,,,,,,,\n",
		"labels:2:1: the label of a drift is not complete":     columns + "a,drift,5,,,linear,,,10\n",
		`labels:3:1: series "a" has no name or a second label`: columns + "a,healthy,,,,,,,9\na,healthy,,,,,,,9\n",
		`labels:2:1: start_s "x" is no number`:                 columns + "a,drift,x,,,linear,,,10\n",
		"labels:2: record on line 2":                           columns + "a,b\n",
	} {
		_, err := sample.ReadLabels("labels", strings.NewReader(text))
		if strings.HasPrefix(want, "labels:2: record") {
			require.ErrorContains(t, err, "wrong number of fields")
			continue
		}
		require.ErrorContains(t, err, want)
	}
	_, err := sample.ReadDetections("found", strings.NewReader("series,time_s,kind\na,,drift\n"))
	require.ErrorContains(t, err, "found:2:1: time_s is missing")
}

// FuzzReadings: nothing that is in a file makes the replay panic.
func FuzzReadings(f *testing.F) {
	f.Add([]byte(head + "a,0,-500 x -510,200 x 199\na,1,1 1 1,2 2 2\n"))
	f.Add([]byte(head + "a,0,x,x\r\n"))
	f.Add([]byte("\x1f\x8b\x08\x00"))
	f.Fuzz(func(t *testing.T, data []byte) {
		dir := folder(t, string(data), "")
		sum, err := sample.Run(t.Context(), dir)
		if err == nil {
			require.LessOrEqual(t, sum.Series, sum.Days)
		}
	})
}
