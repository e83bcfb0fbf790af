package sample

import (
	"fmt"
	"io"
	"maps"
	"math"
	"slices"
	"strings"
)

// WriteText prints the table.
func (s *Score) WriteText(out io.Writer) error {
	var b strings.Builder
	n, rate := s.FalseAlarms()
	fmt.Fprintf(&b, "healthy point-years %.2f\n", s.PointYears)
	fmt.Fprintf(&b, "false alarms %d  %s\n", n, kinds(s.False))
	fmt.Fprintf(&b, "false alarms per 100 point-years %.2f", rate)
	if n == 0 {
		fmt.Fprintf(&b, " (95 %% upper limit %.2f)", 100*3/s.PointYears)
	}
	fmt.Fprintf(&b, "\n%-26s %4s %9s %12s %11s %13s %14s %10s\n", "fault", "n", "detected", "delay med d", "delay p90 d", "loss med dB", "lead med d", "too late")
	for _, class := range slices.Sorted(maps.Keys(s.Faults)) {
		f := s.Faults[class]
		delays := slices.Clone(f.Delays)
		for len(delays) < f.Faults {
			delays = append(delays, math.Inf(1)) // never
		}
		fmt.Fprintf(&b, "%-26s %4d %8.1f%% %12.2f %11.2f %13s %14s %10d\n", class, f.Faults, 100*float64(len(f.Delays))/float64(f.Faults),
			quantile(delays, 0.5), quantile(delays, 0.9), orDash("%.3f", quantile(f.Losses, 0.5)), orDash("%.1f", quantile(f.Led, 0.5)), f.TooLate)
	}
	s.writeForecasts(&b)
	_, err := io.WriteString(out, b.String())
	return err
}

func (s *Score) writeForecasts(b *strings.Builder) {
	b.WriteString("predicted time to the limit, by share of the 3 dB already lost\n")
	total, inside, intervals := 0, 0, 0
	for i, name := range [...]string{"0-10 %", "10-30 %", "30-60 %", "60-100 %"} {
		f := &s.Forecasts[i]
		total, inside, intervals = total+len(f.Errors), inside+f.Inside, intervals+f.Intervals
		if len(f.Errors) == 0 {
			fmt.Fprintf(b, "%9s: no predictions\n", name)
			continue
		}
		fmt.Fprintf(b, "%9s: n %d  median relative error %.0f %%  median |ln ratio| %.3f  80 %% interval coverage %s  median hi/lo %.2f\n",
			name, len(f.Errors), 100*quantile(f.Errors, 0.5), quantile(f.LogErrors, 0.5), orDash("%.1f %%", 100*float64(f.Inside)/float64(f.Intervals)), quantile(f.Widths, 0.5))
	}
	if intervals > 0 {
		fmt.Fprintf(b, "%9s: n %d from %d of %d drifting series, coverage %.1f %%\n", "all", total, s.Predicted, s.Drifting, 100*float64(inside)/float64(intervals))
	}
}

// kinds lists counts by kind.
func kinds(counts map[string]int) string {
	var parts []string
	for _, k := range slices.Sorted(maps.Keys(counts)) {
		parts = append(parts, fmt.Sprintf("%s %d", k, counts[k]))
	}
	return strings.Join(parts, ", ")
}

func orDash(format string, v float64) string {
	if math.IsNaN(v) {
		return "-"
	}
	return fmt.Sprintf(format, v)
}
