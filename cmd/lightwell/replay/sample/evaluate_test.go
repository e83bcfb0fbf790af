package sample_test

import (
	"flag"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/alarms/drift/drifttest"
	"lightwell/cmd/lightwell/replay/sample"
)

var (
	points = flag.Int("points", 0, "made-up healthy points of two years to evaluate with; also as many faulty ones of one year")
	seed   = flag.Uint64("seed", 1, "first seed of the evaluation")
	noise  = flag.Float64("noise", 1, "factor on their noise")
	dips   = flag.Float64("dips", 1, "factor on their dips in bad weather")
)

// classes are the rows of the table of goals.
var classes = []struct {
	name   string
	recipe drifttest.Recipe
	kinds  string
}{
	{"0.05 dB/month", drifttest.Recipe{Kind: drifttest.Drift, Rate: 0.05, Shape: drifttest.Linear}, ""},
	{"0.1 dB/month", drifttest.Recipe{Kind: drifttest.Drift, Rate: 0.1, Shape: drifttest.Linear}, ""},
	{"0.2 dB/month", drifttest.Recipe{Kind: drifttest.Drift, Rate: 0.2, Shape: drifttest.Linear}, ""},
	{"0.5 dB/month", drifttest.Recipe{Kind: drifttest.Drift, Rate: 0.5, Shape: drifttest.Linear}, ""},
	{"1 dB/month", drifttest.Recipe{Kind: drifttest.Drift, Rate: 1, Shape: drifttest.Linear}, ""},
	{"0.2 dB/month, e-fold", drifttest.Recipe{Kind: drifttest.Drift, Rate: 0.2, Shape: drifttest.Exponential}, ""},
	{"step 0.5 dB", drifttest.Recipe{Kind: drifttest.Step, Size: 0.5}, ""},
	{"step 1 dB", drifttest.Recipe{Kind: drifttest.Step, Size: 1}, ""},
	{"bursts", drifttest.Recipe{Kind: drifttest.Intermittent}, ""},
	{"any drift", drifttest.Recipe{Kind: drifttest.Drift}, ""},
	{"any drift", drifttest.Recipe{Kind: drifttest.Drift}, ""},
	{"service", drifttest.Recipe{Kind: drifttest.Service}, ""},
}

// an outcome of one class: days to the first alarm, and before the failure.
type outcome struct{ delays, leads []float64 }

// made is a folder of made-up points.
type made struct {
	folder string
	class  map[string]string
}

// makeFolder writes healthy points and as many faulty ones.
func makeFolder(t testing.TB, healthy, faulty int, first uint64, noise, dips float64) made {
	m := made{t.TempDir(), map[string]string{}}
	var files [3]*os.File
	for i, name := range []string{"readings.csv", "service.csv", "labels.csv"} {
		f, err := os.Create(filepath.Join(m.folder, name))
		require.NoError(t, err)
		defer f.Close()
		files[i] = f
	}
	s := drifttest.NewSample(files[0], files[1], files[2])
	for i := range healthy {
		s.Add(fmt.Sprintf("h%05d", i), drifttest.New(drifttest.Recipe{Seed: first + uint64(i), Days: 730, Noise: noise, Dips: dips}))
	}
	for i := range faulty {
		c := classes[i%len(classes)]
		r := c.recipe
		r.Seed, r.Noise, r.Dips = first+1_000_000+uint64(i), noise, dips
		name := fmt.Sprintf("f%05d", i)
		m.class[name] = c.name
		s.Add(name, drifttest.New(r))
	}
	require.NoError(t, s.Close())
	return m
}

// judge replays the folder and scores it.
func (m made) judge(t testing.TB) (*sample.Summary, *sample.Score, map[string]*outcome) {
	sum, err := sample.Run(t.Context(), m.folder)
	require.NoError(t, err)
	f, err := os.Open(filepath.Join(m.folder, "labels.csv"))
	require.NoError(t, err)
	defer f.Close()
	labels, err := sample.ReadLabels(f.Name(), f)
	require.NoError(t, err)
	score, err := sample.Judge(labels, sum.Detections)
	require.NoError(t, err)
	first := map[string]float64{}
	for _, d := range sum.Detections {
		l := labels[d.Series]
		if d.Kind != "forecast" && float64(d.Time) >= l.Start && first[d.Series] == 0 {
			first[d.Series] = float64(d.Time)
		}
	}
	outcomes := map[string]*outcome{}
	for name, class := range m.class {
		o := outcomes[class]
		if o == nil {
			o = &outcome{}
			outcomes[class] = o
		}
		at := first[name]
		if at == 0 {
			at = math.Inf(1)
		}
		o.delays = append(o.delays, (at-labels[name].Start)/86400)
		o.leads = append(o.leads, (labels[name].Fail-at)/86400)
	}
	for _, o := range outcomes {
		slices.Sort(o.delays)
		slices.Sort(o.leads)
	}
	return sum, score, outcomes
}

// at returns a quantile of sorted values.
func at(v []float64, q float64) float64 { return v[min(int(q*float64(len(v))), len(v)-1)] }

// within returns the share of delays up to so many days.
func (o *outcome) within(days float64) float64 {
	n, _ := slices.BinarySearch(o.delays, math.Nextafter(days, math.Inf(1)))
	return float64(n) / float64(len(o.delays))
}

// TestEvaluate prints the table of goals on seeds of your choice:
//
//	go test ./cmd/lightwell/replay/sample -run TestEvaluate -points 600 -seed 1 -v
func TestEvaluate(t *testing.T) {
	if *points == 0 {
		t.Skip("needs -points")
	}
	m := makeFolder(t, *points, *points, *seed, *noise, *dips)
	sum, score, outcomes := m.judge(t)
	n, rate := score.FalseAlarms()
	fmt.Printf("noise x %.1f, dips x %.1f, seed %d\nfalse alarms %d in %.0f point-years: %.2f per 100; mirror says %.2f; scales %.2f drift, %.2f step\n",
		*noise, *dips, *seed, n, score.PointYears, rate, sum.FalseAlarms, sum.DriftScale, sum.StepScale)
	for _, c := range classes {
		if o := outcomes[c.name]; o != nil {
			fmt.Printf("%-22s n %3d  delay median %.2f d, 90 %% %.2f d; within 2 d %.1f %%; lead median %.0f d, shortest %.0f d\n",
				c.name, len(o.delays), at(o.delays, 0.5), at(o.delays, 0.9), 100*o.within(2), at(o.leads, 0.5), o.leads[0])
			delete(outcomes, c.name)
		}
	}
	require.NoError(t, score.WriteText(os.Stdout))
}

// TestGoals is the evaluation in small: wide bounds, seeds that no setting was
// chosen on.
func TestGoals(t *testing.T) {
	m := makeFolder(t, 50, 144, 60_000_000, 1, 1)
	_, score, outcomes := m.judge(t)
	n, _ := score.FalseAlarms()
	require.LessOrEqual(t, n, 2, "in %.0f point-years", score.PointYears)
	for class, bounds := range map[string][2]float64{ // median, 90 %: days
		"0.05 dB/month": {95, 145}, "0.1 dB/month": {40, 56}, "0.2 dB/month": {21, 29}, "0.5 dB/month": {12, 15},
		"step 0.5 dB": {0.75, 4}, "step 1 dB": {0.29, 0.4}, "bursts": {1, 4},
	} {
		o := outcomes[class]
		require.Len(t, o.delays, 12, class)
		require.LessOrEqual(t, at(o.delays, 0.5), bounds[0], class)
		require.LessOrEqual(t, at(o.delays, 0.9), bounds[1], class)
	}
	require.Greater(t, outcomes["1 dB/month"].leads[0], 70.0)
	require.Greater(t, outcomes["0.2 dB/month, e-fold"].leads[0], 120.0)
	inside, all := 0, 0
	for i, f := range score.Forecasts {
		inside, all = inside+f.Inside, all+f.Intervals
		if i > 0 {
			errs := slices.Sorted(slices.Values(f.Errors))
			require.Less(t, at(errs, 0.5), 0.2, "share %d", i)
		}
	}
	require.InDelta(t, 0.8, float64(inside)/float64(all), 0.1)
}

// TestGoalsInDoubledNoise: the thresholds adapt.
func TestGoalsInDoubledNoise(t *testing.T) {
	m := makeFolder(t, 80, 0, 61_000_000, 2, 1)
	sum, score, _ := m.judge(t)
	n, _ := score.FalseAlarms()
	require.LessOrEqual(t, n, 4, "in %.0f point-years", score.PointYears)
	require.InDelta(t, 1.65, sum.DriftScale, 0.3)
}
