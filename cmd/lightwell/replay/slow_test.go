package replay_test

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms/rules"
	"lightwell/cmd/lightwell/replay"
)

// byDays writes a file by days, polls every half-hour, of light that loses so
// much on each day.
func byDays(days int, lost func(day float64) float64) string {
	var f strings.Builder
	f.WriteString("series,day,rx_cdb,temp_ddegc\n")
	for day := range days {
		var light, temp []string
		for k := range 48 {
			at := float64(day) + float64(k)/48
			c := 25 + 6*math.Sin(2*math.Pi*at)
			wobble := float64((day*48+k)*7919%5) - 2
			light = append(light, fmt.Sprint(int(math.Round(100*(-4-lost(at)+0.004*(c-25))+wobble))))
			temp = append(temp, fmt.Sprint(int(math.Round(10*c))))
		}
		fmt.Fprintf(&f, "u,%d,%s,%s\n", day, strings.Join(light, " "), strings.Join(temp, " "))
	}
	return f.String()
}

// TestSlowFaultsInTheTimeOfTheReadings: months pass in a moment, and each
// fault raises its own alarm, by rules, keeper and engine together.
func TestSlowFaultsInTheTimeOfTheReadings(t *testing.T) {
	const day = 24 * time.Hour
	for _, c := range []struct {
		name     string
		lost     func(day float64) float64
		kind     string
		severity string
		soonest  time.Duration
		latest   time.Duration
	}{
		{"nothing", func(float64) float64 { return 0 }, "", "", 0, 0},
		{"0.25 dB a month from day 40 on", func(d float64) float64 { return max(0, d-40) * 0.25 / 30.4 }, rules.Drift, "minor", 45 * day, 62 * day},
		{"0.6 dB at once on day 50", func(d float64) float64 { return 0.6 * math.Floor(min(1, d/50)) }, rules.SignalDegraded, "minor", 50 * day, 51 * day},
		{"six drops a day from day 50 on", func(d float64) float64 {
			if d >= 50 && int(math.Round(d*48))%8 == 0 {
				return 0.9
			}
			return 0
		}, rules.Intermittent, "minor", 50 * day, 53 * day},
	} {
		t.Run(c.name, func(t *testing.T) {
			var rec replay.Recording
			require.NoError(t, rec.Add("u.csv", strings.NewReader(byDays(80, c.lost)), origin))
			r := play(t, replay.Config{BaselinePolls: 48}, &rec)
			var raised []replay.Line
			for _, l := range r.Lines {
				if l.What == replay.AlarmLine && l.Kind == "raised" {
					raised = append(raised, l)
				}
			}
			if c.kind == "" {
				require.Empty(t, raised)
				return
			}
			require.Len(t, raised, 1, "one fault, one alarm")
			require.Equal(t, []string{c.kind, c.severity, "unit/u/optical_receive_power"}, []string{raised[0].Type, raised[0].Severity, raised[0].Resource})
			after := raised[0].Time.Sub(origin)
			require.True(t, c.soonest <= after && after <= c.latest, "after %s", after)
			require.True(t, raised[0].Notified)
			if c.kind == rules.Drift {
				require.Regexp(t, `3 dB are lost between \d+ and \d+ months from`, raised[0].Text, "by the days so far")
			}
		})
	}
}
