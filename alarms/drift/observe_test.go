package drift_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/alarms/drift"
	"lightwell/alarms/drift/drifttest"
)

// TestAnyPollPeriod: faults are found, and nothing else, from 5 s to 1 h.
func TestAnyPollPeriod(t *testing.T) {
	c := drift.Default()
	for _, period := range []int{5, 10, 60, 300, 900, 3600} {
		for _, tt := range []struct {
			kind   string
			rate   float64
			size   float64
			alarm  drift.Kinds
			within float64 // days
		}{
			{drifttest.Healthy, 0, 0, 0, 0},
			{drifttest.Drift, 1, 0, drift.Drift, 12},
			{drifttest.Step, 0, 1, drift.Step, 1},
			{drifttest.Intermittent, 0, 2, drift.Intermittent, 6},
		} {
			days := 80
			if period < 60 {
				days = 60 // 5 s is 17,280 readings a day
			}
			p := drifttest.New(drifttest.Recipe{Seed: 3, Kind: tt.kind, Rate: tt.rate, Shape: drifttest.Linear, Size: tt.size, Days: days, Period: period, Start: 40 * day})
			raised, s := watch(&c, p)
			for k := drift.Drift; k <= drift.Intermittent; k <<= 1 {
				if k != tt.alarm && tt.kind != drifttest.Intermittent { // many bursts are a loss too
					require.Empty(t, raised[k], "%d s, %s: alarm %d", period, tt.kind, k)
				}
			}
			if tt.alarm != 0 {
				require.NotEmpty(t, raised[tt.alarm], "%d s, %s: %+v", period, tt.kind, s.Trend(&c))
				require.InDelta(t, tt.within/2, float64(raised[tt.alarm][0]-p.Start)/day, tt.within/2, "%d s, %s", period, tt.kind)
			}
		}
	}
}

// steady feeds a series for some days with one value at reference temperature.
func steady(s *drift.Series, c *drift.Settings, at int64, days int, value float64) (int64, drift.Kinds, drift.Kinds) {
	var raised, cleared drift.Kinds
	for end := at + int64(days)*day; at < end; at += 1800 {
		wobble := float64(at/1800%5-2) / 100
		t := s.Observe(c, at, value+wobble, 20+3*math.Sin(float64(at)/day*2*math.Pi))
		raised, cleared = raised|t.Raised, cleared|t.Cleared
	}
	return at, raised, cleared
}

func TestNonsenseIsIgnored(t *testing.T) {
	c := drift.Default()
	var s drift.Series
	at, _, _ := steady(&s, &c, 1000*day, 20, -5)
	before := s
	for _, v := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		require.Equal(t, drift.Turn{}, s.Observe(&c, at, v, 20))
	}
	require.Equal(t, drift.Turn{}, s.Observe(&c, at-1800, -5, 20), "not newer")
	require.Equal(t, drift.Turn{}, s.Observe(&c, -5, -5, 20))
	require.Equal(t, drift.Turn{}, s.Observe(&c, math.MaxInt64, -5, 20))
	require.Equal(t, before, s)

	for i := range int64(10 * 48) { // garbage every other day
		v := -5.0
		if i%96 == 10 {
			v = -35
		}
		require.Zero(t, s.Observe(&c, at+i*1800, v, 20).Raised)
	}
	require.InDelta(t, 0, s.Trend(&c).LostDB, 0.02)
}

func TestWithoutTemperature(t *testing.T) {
	c := drift.Default()
	var s drift.Series
	for at := int64(1000 * day); at < 1040*day; at += 1800 {
		v := -5.0
		if at > 1030*day {
			v = -6
		}
		s.Observe(&c, at, v, math.NaN())
	}
	trend := s.Trend(&c)
	require.True(t, math.IsNaN(trend.ReferenceC))
	require.True(t, trend.Step)
	require.InDelta(t, 1, trend.LostDB, 0.05)
	require.InDelta(t, -5, trend.Baseline, 1e-6)
	require.Zero(t, trend.TempCoeff)
}

// TestColdStartIsNotJudged: two hours after an outage.
func TestColdStartIsNotJudged(t *testing.T) {
	c := drift.Default()
	var s drift.Series
	at, _, _ := steady(&s, &c, 1000*day, 20, -5)
	at += 6 * 3600
	for end := at + 2*3600; at < end; at += 1800 {
		require.Zero(t, s.Observe(&c, at, -25, 20).Raised)
	}
	_, raised, _ := steady(&s, &c, at, 3, -5)
	require.Zero(t, raised)
}

func TestStepClearsWithEvidence(t *testing.T) {
	c := drift.Default()
	var s drift.Series
	at, raised, _ := steady(&s, &c, 1000*day, 20, -5)
	require.Zero(t, raised)
	began := at
	at, raised, cleared := steady(&s, &c, at, 5, -6)
	require.Equal(t, drift.Step, raised)
	require.Zero(t, cleared)
	trend := s.Trend(&c)
	require.InDelta(t, 1, trend.StepDB, 0.1)
	require.InDelta(t, 1, trend.LostDB, 0.1)
	require.WithinRange(t, trend.Since, unix(began), unix(began+10*3600))

	_, raised, cleared = steady(&s, &c, at, 2, -5) // and back: found as a step
	require.Zero(t, raised)
	require.Equal(t, drift.Step, cleared)
	require.True(t, s.Trend(&c).Since.IsZero())
}

func TestDriftClearsAfterDays(t *testing.T) {
	c := drift.Default()
	var s drift.Series
	at, _, _ := steady(&s, &c, 1000*day, 90, -5)
	value := -5.0
	for range 25 {
		value -= 0.02
		at, _, _ = steady(&s, &c, at, 1, value)
	}
	require.True(t, s.Trend(&c).Drift)
	require.InDelta(t, 0.35, s.Trend(&c).SlopeDBPerMonth, 0.15, "the filter follows with care; Predict fits the course")
	for value < -5 {
		value += 0.05
		at, _, _ = steady(&s, &c, at, 1, value)
		require.True(t, s.Trend(&c).Drift, "it is coming back")
	}
	_, _, cleared := steady(&s, &c, at, 60, -5)
	require.Equal(t, drift.Drift, cleared)
}

func TestBurstsClear(t *testing.T) {
	c := drift.Default()
	var s drift.Series
	at, _, _ := steady(&s, &c, 1000*day, 20, -5)
	var raised drift.Kinds
	for i := range int64(48 * 2) {
		v := -5.0
		if i%12 == 6 {
			v = -7 // four a day
		}
		raised |= s.Observe(&c, at, v, 20).Raised
		at += 1800
	}
	require.Equal(t, drift.Intermittent, raised)
	at, _, cleared := steady(&s, &c, at, 3, -5)
	require.Zero(t, cleared)
	_, _, cleared = steady(&s, &c, at, 16, -5)
	require.Equal(t, drift.Intermittent, cleared)
}

// TestWorseIsToldAgain: a drift that stands and grows by half is told anew, so
// that a fault does not hide behind an alarm that was false.
func TestWorseIsToldAgain(t *testing.T) {
	c := drift.Default()
	var s drift.Series
	at, _, _ := steady(&s, &c, 1000*day, 60, -5)
	at, raised, _ := steady(&s, &c, at, 60, -5.24)
	require.Equal(t, drift.Drift, raised)
	require.Equal(t, []float64(nil), worse(&s, &c, &at, 60, -5.24, 0), "it stands and does not move")
	told := worse(&s, &c, &at, 60, -5.24, 0.02)
	require.GreaterOrEqual(t, len(told), 2)
	require.Less(t, told[0], 0.5, "dB lost")
	for i := 1; i < len(told); i++ {
		require.Greater(t, told[i], 1.3*told[i-1])
	}
}

// worse lets a series lose so much a day, and returns the losses at which it
// was told to be worse.
func worse(s *drift.Series, c *drift.Settings, at *int64, days int, value, perDay float64) (told []float64) {
	for range days {
		value -= perDay
		for range 48 {
			if s.Observe(c, *at, value+float64(*at/1800%5-2)/100, 20).Worse.Has(drift.Drift) {
				told = append(told, s.Trend(c).LostDB)
			}
			*at += 1800
		}
	}
	return told
}

// TestSingleNonsenseIsHalfABurst: two readings far off in a day may be garbage,
// two bursts of a usual size are not.
func TestSingleNonsenseIsHalfABurst(t *testing.T) {
	for depth, want := range map[float64]drift.Kinds{-15: 0, -3: drift.Intermittent} {
		c := drift.Default()
		var s drift.Series
		at, _, _ := steady(&s, &c, 1000*day, 20, -5)
		var raised drift.Kinds
		for i := range int64(48) {
			v := -5.0
			if i == 10 || i == 30 {
				v += depth
			}
			raised |= s.Observe(&c, at+i*1800, v, 20).Raised
		}
		require.Equal(t, want, raised, "%g dB", depth)
	}
}

// TestBurstsOfTheFirstDayDoNotCount: the noise of the point is not known yet.
func TestBurstsOfTheFirstDayDoNotCount(t *testing.T) {
	c := drift.Default()
	var s drift.Series
	for i := range int64(96) {
		v := -5.0
		if i < 48 && i%8 == 5 {
			v = -6
		}
		require.Zero(t, s.Observe(&c, 1000*day+i*1800, v, 20).Raised)
	}
}
