package replay_test

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"lightwell/cmd/lightwell/replay"
	"lightwell/collector"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

const million = 1_000_000

// seriesFile is a million readings of 24 units, two a poll, by days; one unit
// in four loses light slowly.
func seriesFile() string {
	var b strings.Builder
	random := rand.New(rand.NewPCG(1, 2))
	b.WriteString("series,day,rx_cdb,temp_ddegc\n")
	for unit := range 24 {
		for day := range million / 24 / 96 {
			loss := 0
			if unit%4 == 0 {
				loss = day
			}
			var rx, temp []string
			for range 48 {
				rx = append(rx, fmt.Sprint(-325-loss+random.IntN(9)))
				temp = append(temp, fmt.Sprint(215+random.IntN(30)))
			}
			fmt.Fprintf(&b, "s%04d,%d,%s,%s\n", unit, day, strings.Join(rx, " "), strings.Join(temp, " "))
		}
	}
	return b.String()
}

// linesFile is a million readings of 100 units, ten a poll, one a line. No
// two units are polled at the same time.
func linesFile() string {
	var b strings.Builder
	random := rand.New(rand.NewPCG(1, 2))
	b.WriteString("time,unit,point,value\n")
	points := []struct {
		name  string
		value float64
	}{
		{"optical_receive_power", -3}, {"optical_transmit_power", 4}, {"laser_bias", 25}, {"laser_state", 0}, {"temperature", 25},
		{"supply_state/a", 0}, {"supply_state/b", 0}, {"supply_voltage/a", 12}, {"rf_output_level", -30}, {"uptime", 0},
	}
	for poll := range million / len(points) {
		at := origin.Add(time.Duration(poll) * 600 * time.Millisecond)
		for _, p := range points {
			v := p.value
			switch {
			case p.name == "uptime":
				v = at.Sub(origin).Seconds()
			case !strings.Contains(p.name, "state"):
				v += random.Float64() / 10
			}
			fmt.Fprintf(&b, "%s,u%02d,%s,%.2f\n", at.Format(time.RFC3339Nano), poll%100, p.name, v)
		}
	}
	return b.String()
}

// oneSite puts the units of a recording ten by ten at a site.
func oneSite(rec *replay.Recording) *collector.Fleet {
	f := *replay.Invent(rec.Points())
	for i := range f.Units {
		f.Units[i].Site = f.Units[i/20*20].ID // each has a far end
	}
	return collector.NewFleet(f)
}

// A million readings from file to result, in the two forms of a file; the
// third has ten units a site, all judged after each poll.
func BenchmarkMillionReadings(b *testing.B) {
	series, lines := seriesFile(), linesFile()
	for _, bb := range []struct {
		name, csv string
		fleet     func(*replay.Recording) *collector.Fleet
	}{
		{"by days", series, nil},
		{"one a line", lines, nil},
		{"ten units a site", lines, oneSite},
	} {
		b.Run(bb.name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				rec := record(b, bb.csv)
				cfg := replay.Config{BaselinePolls: 100}
				if bb.fleet != nil {
					cfg.Fleet = bb.fleet(rec)
				}
				result := play(b, cfg, rec)
				require.Greater(b, result.Summary.Readings, million*99/100)
			}
		})
	}
}
