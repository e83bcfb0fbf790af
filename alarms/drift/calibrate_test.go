package drift_test

import (
	"flag"
	"fmt"
	"math"
	"testing"

	"lightwell/alarms/drift"
	"lightwell/alarms/drift/drifttest"
)

var calibrate = flag.Int("calibrate", 0, "made-up drifting points to find forecast quantiles on; they are judged on as many others")

// outcomes lets points drift and compares each forecast, one in ten days from
// the alarm on, with the truth.
func outcomes(n int, seed uint64, q *drift.Quantiles) (raw []drift.Outcome, inside, all [4]int, errors [4][]float64) {
	c := drift.Default()
	for i := range n {
		p := drifttest.New(drifttest.Recipe{Seed: seed + uint64(i), Kind: drifttest.Drift, Days: 365 * (1 + i%2)})
		s := &drift.Series{}
		var past []drift.Day
		due, before := int64(0), int64(0)
		for r := range p.Readings() {
			if r.Missing {
				continue
			}
			t := s.Observe(&c, r.At, r.Value, r.Temp)
			trend := s.Trend(&c)
			if t.Measured && trend.Phase >= drift.Final {
				past = append(past, drift.Day{Day: int32(before / day), Loss: float32(trend.DayDB)})
			}
			before = r.At
			if !trend.Drift || r.At < due || r.At < p.Start || float64(r.At) >= p.Fail {
				continue
			}
			due = r.At + 10*day
			noon := (float64(past[len(past)-1].Day) + 0.5) * day
			if f, ok := drift.Predict(past, 3, &drift.Quantiles{}); ok {
				raw = append(raw, drift.Outcome{Share: f.Share, Curved: f.Curved, Ratio: (p.Fail - noon) / f.Middle.Seconds()})
			}
			if f, ok := drift.Predict(past, 3, q); ok {
				k, left := drift.Cell(p.Loss(float64(r.At))/3), p.Fail-noon
				all[k]++
				if f.Lower.Seconds() <= left && (f.Open || left <= f.Upper.Seconds()) {
					inside[k]++
				}
				errors[k] = append(errors[k], math.Abs(f.Middle.Seconds()-left)/left)
			}
		}
	}
	return raw, inside, all, errors
}

func TestCalibrate(t *testing.T) {
	if *calibrate == 0 {
		t.Skip("needs -calibrate")
	}
	raw, _, _, _ := outcomes(*calibrate, 10_000_000, drift.DefaultQuantiles())
	q := drift.DefaultQuantiles().Fit(raw)
	fmt.Printf("%d outcomes\nRamp  %+.2f\nCurve %+.2f\n", len(raw), q.Ramp, q.Curve)
	for _, of := range []*drift.Quantiles{q, drift.DefaultQuantiles()} {
		_, inside, all, errs := outcomes(*calibrate, 20_000_000, of)
		total, in := 0, 0
		for k := range all {
			total, in = total+all[k], in+inside[k]
			fmt.Printf("cell %d: n %d coverage %.1f %% error %.0f %%\n", k, all[k], 100*float64(inside[k])/float64(all[k]), 100*median(errs[k]))
		}
		fmt.Printf("all: %.1f %%\n", 100*float64(in)/float64(total))
	}
}
