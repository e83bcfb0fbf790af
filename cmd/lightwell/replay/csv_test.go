package replay_test

import (
	"bytes"
	"compress/gzip"
	"io"
	"strings"
	"testing"
	"time"

	"github.com/klauspost/compress/zstd"
	"github.com/stretchr/testify/require"

	"lightwell/cmd/lightwell/replay"
	"lightwell/collector"
)

var origin = time.Date(2025, 1, 1, 0, 0, 0, 0, time.UTC)

// record reads one file.
func record(t testing.TB, csv string) *replay.Recording {
	t.Helper()
	var r replay.Recording
	require.NoError(t, r.Add("readings.csv", strings.NewReader(csv), origin))
	return &r
}

// told writes the polls of a recording as short lines.
func told(r *replay.Recording) []string {
	var out []string
	for p := range r.All() {
		line := p.Started.Format("02 15:04:05.999 ") + p.Unit
		for _, rd := range p.Readings {
			line += " " + rd.Point.String() + "="
			if state := rd.State(); state != "" {
				line += state
			} else if rd.Quality == collector.Good {
				line += strings.TrimRight(strings.TrimRight(formatted(rd.Value), "0"), ".")
			} else {
				line += rd.Quality.String()
			}
		}
		if p.Err != nil {
			line += " " + p.Err.Error()
		}
		if p.Restarted {
			line += " restarted"
		}
		out = append(out, line)
	}
	return out
}

func TestReadings(t *testing.T) {
	for _, tt := range []struct {
		name, csv string
		want      []string
	}{
		{"one reading", "time,unit,point,value\n2025-01-01T10:00:00Z,a,optical_receive_power,-3.25\n", []string{"01 10:00:00 a optical_receive_power=-3.25"}},
		{"columns in another order, with a comment", "point,value,unit,time\n# by hand\ntemperature, 21.5,a,2025-01-01T11:00:00+01:00\n", []string{"01 10:00:00 a temperature=21.5"}},
		{"seconds since 1970", "time,unit,point,value\n1735725600.25,a,temperature,20\n", []string{"01 10:00:00.25 a temperature=20"}},
		{"states by name and by number", "time,unit,point,value\n1735725600,a,supply_state/b,failed\n1735725600,a,supply_state/a,0\n", []string{"01 10:00:00 a supply_state/b=failed supply_state/a=good"}},
		{"qualities", "time,unit,point,value,quality\n1735725600,a,temperature,,broken\n1735725600,a,laser_bias,7,unavailable\n1735725600,a,lna_current,9,good\n", []string{"01 10:00:00 a temperature=broken laser_bias=unavailable lna_current=9"}},
		{"what cannot be true is out of range", "time,unit,point,value\n1735725600,a,temperature,999\n1735725600,a,supply_state,7\n1735725600,a,laser_bias,NaN\n", []string{"01 10:00:00 a temperature=out_of_range supply_state=out_of_range laser_bias=out_of_range"}},
		{"failed polls", "time,unit,point,value,quality\n1735725600,a,,,no_answer\n1735725660,a,,,refused\n1735725720,a,,,malformed\n", []string{"01 10:00:00 a no answer", "01 10:01:00 a credentials refused", "01 10:02:00 a answer does not fit the question"}},
		{"readings of one poll come some milliseconds apart", "time,unit,point,value\n1735725600,a,temperature,20\n1735725600.1,b,temperature,30\n1735725600.2,a,laser_bias,25\n1735725610,a,temperature,21\n", []string{"01 10:00:00 a temperature=20 laser_bias=25", "01 10:00:00.1 b temperature=30", "01 10:00:10 a temperature=21"}},
		{"the same point again is the next poll", "time,unit,point,value\n1735725600,a,temperature,20\n1735725601,a,temperature,21\n1735725602,a,temperature,22\n", []string{"01 10:00:00 a temperature=20", "01 10:00:01 a temperature=21", "01 10:00:02 a temperature=22"}},
		{"unit by unit", "time,unit,point,value\n1735725600,a,temperature,20\n1735725700,a,temperature,21\n1735725600,b,temperature,30\n1735725700,b,temperature,31\n", []string{"01 10:00:00 a temperature=20", "01 10:00:00 b temperature=30", "01 10:01:40 a temperature=21", "01 10:01:40 b temperature=31"}},
		{"an uptime that went back is a restart", "time,unit,point,value\n1735725600,a,uptime,7200\n1735725660,a,uptime,7260\n1735725720,a,uptime,40\n", []string{"01 10:00:00 a uptime=7200", "01 10:01:00 a uptime=7260", "01 10:02:00 a uptime=40 restarted"}},
		{"by days", "series,day,rx_cdb,temp_ddegc\na,0,-325 x -330 -9999,215 x 220 221\na,1,-325,215\n", []string{
			"01 00:00:00 a optical_receive_power=-3.25 temperature=21.5", "01 06:00:00 a no answer", "01 12:00:00 a optical_receive_power=-3.3 temperature=22",
			"01 18:00:00 a optical_receive_power=out_of_range temperature=22.1", "02 00:00:00 a optical_receive_power=-3.25 temperature=21.5"}},
		{"no lines", "time,unit,point,value\n", nil},
	} {
		t.Run(tt.name, func(t *testing.T) { require.Equal(t, tt.want, told(record(t, tt.csv))) })
	}
}

func TestFaultsOfReadings(t *testing.T) {
	const head = "time,unit,point,value,quality\n"
	for _, tt := range []struct{ name, csv, want string }{
		{"empty", "", "r.csv: the file is empty; give readings with the header"},
		{"no header", "1735725600,a,temperature,20\n", "r.csv:1:1: the first line names no known columns"},
		{"a column too many", "time,unit,point,value,colour\n", `r.csv:1:23: column "colour" is unknown`},
		{"a column twice", "time,unit,unit,point,value\n", `r.csv:1:11: column "unit" is unknown or there twice`},
		{"a column too few", "time,unit,value\n", `r.csv:1:1: column "point" is missing`},
		{"time", head + "yesterday,a,temperature,20,\n", `r.csv:2:1: time "yesterday" cannot be read; write it as`},
		{"a time before 1970", head + "-5,a,temperature,20,\n", `r.csv:2:1: time "-5"`},
		{"a time that does not fit", head + "9999-01-01T00:00:00Z,a,temperature,20,\n", `r.csv:2:1: time`},
		{"unit", head + "0,Roof 3,temperature,20,\n", `r.csv:2:3: unit "Roof 3" is no id`},
		{"point", head + "0,a,temprature,20,\n", `r.csv:2:5: point "temprature" has no known quantity; did you mean "temperature"`},
		{"port", head + "0,a,temperature/a b,20,\n", `r.csv:2:5: point`},
		{"value", head + "0,a,temperature,warm,\n", `r.csv:2:17: value "warm" is not one of temperature`},
		{"no value", head + "0,a,temperature,,\n", `r.csv:2:17: value ""`},
		{"quality", head + "0,a,temperature,20,fine\n", `r.csv:2:20: unknown quality "fine"`},
		{"a line too short", head + "0,a,temperature\n", `r.csv:2:`},
		{"a quote", head + "0,a,\"temperature,20,\n", `r.csv:`},
		{"day", "series,day,rx_cdb,temp_ddegc\na,-1,-325,215\n", `r.csv:2:3: day "-1" is no number`},
		{"as many of each", "series,day,rx_cdb,temp_ddegc\na,0,-325 -325,215\n", `r.csv:2:15: 1 readings of temperature beside 2`},
		{"steps", "series,day,rx_cdb,temp_ddegc\na,0,-3.25,215\n", `r.csv:2:5: reading 1, "-3.25", is no whole number`},
	} {
		t.Run(tt.name, func(t *testing.T) {
			var r replay.Recording
			require.ErrorContains(t, r.Add("r.csv", strings.NewReader(tt.csv), origin), tt.want)
		})
	}
	var r replay.Recording
	err := r.Add("r.csv", strings.NewReader(head+strings.Repeat("never,a,temperature,20,\n", 100)), origin)
	require.Len(t, strings.Split(err.Error(), "\n"), 20, "many faults at once, but not all of a hopeless file")
}

func TestCompressed(t *testing.T) {
	const csv = "time,unit,point,value\n1735725600,a,temperature,20\n"
	for name, wrap := range map[string]func(io.Writer) io.WriteCloser{
		"gzip": func(w io.Writer) io.WriteCloser { return gzip.NewWriter(w) },
		"zstd": func(w io.Writer) io.WriteCloser { z, err := zstd.NewWriter(w); require.NoError(t, err); return z },
	} {
		t.Run(name, func(t *testing.T) {
			var b bytes.Buffer
			w := wrap(&b)
			_, err := io.WriteString(w, csv)
			require.NoError(t, err)
			require.NoError(t, w.Close())
			require.Equal(t, told(record(t, csv)), told(record(t, b.String())))
			var cut replay.Recording
			require.Error(t, cut.Add("cut", bytes.NewReader(b.Bytes()[:b.Len()-6]), origin), "a file that was cut short is no file")
		})
	}
}

// FuzzAdd: any bytes give polls in order of time, or faults.
func FuzzAdd(f *testing.F) {
	for _, seed := range []string{
		"time,unit,point,value\n1735725600,a,temperature,20\n", "series,day,rx_cdb,temp_ddegc\na,0,-325 x,215 x\n",
		"time,unit,point,value,quality\n2025-01-01T00:00:00Z,a,,,no_answer\n", "\x1f\x8b\x08", "\x28\xb5\x2f\xfd\x00", "time,unit,point,value\n9199999999.9,a,uptime,4294967296\n0,a,uptime,1e9\n",
	} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		var r replay.Recording
		_ = r.Add("r.csv", bytes.NewReader(data), origin)
		var last time.Time
		for p := range r.All() {
			if p.Started.Before(last) || p.Err == nil && len(p.Readings) == 0 {
				t.Fatalf("poll %+v after %s", p, last)
			}
			last = p.Started
		}
	})
}
