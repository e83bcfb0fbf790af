package drift_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"
	"unsafe"

	"github.com/stretchr/testify/require"

	"lightwell/alarms/drift"
	"lightwell/collector/budget"
)

// The laser of every test: threshold 8 mA at 25 °C, 0.2 mW/mA, 3 mW.
var diode = budget.Laser{RefC: 25, Threshold: 8, ThresholdCharK: 60, Slope: 0.2, SlopeCharK: 200}

var birth = time.Date(2025, 3, 1, 0, 0, 0, 0, time.UTC)

// A lamp is a laser that is read, with the faults of real readings.
type lamp struct {
	r       *rand.Rand
	every   time.Duration
	mean    float64                    // °C over the year
	season  float64                    // °C of amplitude
	daily   float64                    // °C of amplitude
	quantum float64                    // mA
	noise   float64                    // share, white
	slow    float64                    // share, correlated over days
	garbage float64                    // share of readings that are nonsense
	aged    func(days float64) float64 // the true index
	wander  float64
	weather float64
}

func newLamp(seed uint64) *lamp {
	return &lamp{
		r: rand.New(rand.NewPCG(seed, 77)), every: 30 * time.Minute, mean: 35, season: 10, daily: 6, quantum: 0.1, noise: 0.004, slow: 0.003, garbage: 0.0005,
		aged: func(float64) float64 { return 0 },
	}
}

// read returns what the unit reports after so long.
func (p *lamp) read(at time.Duration) (bias, temp float64) {
	days := at.Hours() / 24
	step := p.every.Hours() / 24
	p.weather += -p.weather*step/3 + 2*math.Sqrt(2*step/3)*p.r.NormFloat64()
	p.wander += -p.wander*step/5 + p.slow*math.Sqrt(2*step/5)*p.r.NormFloat64()
	temp = p.mean + p.season*math.Sin(2*math.Pi*days/365) + p.daily*math.Sin(2*math.Pi*(days-0.35)) + p.weather
	bias = diode.Bias(3, temp) * (1 + p.aged(days)) * (1 + p.wander + p.noise*p.r.NormFloat64())
	if p.r.Float64() < p.garbage {
		bias = 150 * p.r.Float64()
	}
	if p.quantum > 0 {
		bias = math.Round(bias/p.quantum) * p.quantum
	}
	return bias, math.Round(temp*10) / 10
}

// watch feeds days of readings to a laser and calls each at the end of a day.
func (p *lamp) watch(l *drift.Laser, from, days int, each func(day int, t drift.LaserTrend)) {
	c := drift.DefaultLaser()
	for at := time.Duration(from) * 24 * time.Hour; at < time.Duration(from+days)*24*time.Hour; at += p.every {
		bias, temp := p.read(at)
		if l.Observe(&c, birth.Add(at).Unix(), bias, temp) && each != nil {
			each(int(at/(24*time.Hour)), l.Trend(&c))
		}
	}
}

func TestALaserIsLearntFirst(t *testing.T) {
	var l drift.Laser
	c := drift.DefaultLaser()
	require.Equal(t, drift.LaserTrend{}, l.Trend(&c))
	require.Equal(t, "no readings", l.Trend(&c).Phase.String())
	p := newLamp(1)
	p.watch(&l, 0, 10, nil)
	learning := l.Trend(&c)
	require.Equal(t, "learning", learning.Phase.String())
	require.Equal(t, 9, learning.Days)
	require.Zero(t, learning.Index)
	p.watch(&l, 10, 30, nil)
	known := l.Trend(&c)
	require.Equal(t, drift.LaserKnown, known.Phase)
	require.Zero(t, known.Grade)
	require.InDelta(t, 0, known.Index, 0.01)
	require.Less(t, known.ModelError, 0.01)
	require.Less(t, known.ColdC, 33.0)
	require.Greater(t, known.HotC, 40.0)
	require.InDelta(t, diode.Bias(3, known.HotC), known.HotBiasMA, 0.5)
	require.Equal(t, birth.AddDate(0, 0, 39), known.Judged)
}

// The raw bias moves by half over the seasons; the index does not, with twice
// the noise either.
func TestSeasonsAreNoAgeing(t *testing.T) {
	const lasers = 60
	for noise, most := range map[float64]float64{1: 0.03, 2: 0.06} {
		worst, judged := 0.0, 0
		for seed := range uint64(lasers) {
			p := newLamp(seed)
			p.mean, p.season, p.noise, p.slow = float64(seed%45), 4+float64(seed%12), noise*p.noise, noise*p.slow
			var l drift.Laser
			p.watch(&l, 0, 730, func(_ int, tr drift.LaserTrend) {
				worst = max(worst, math.Abs(tr.Index))
				require.Zero(t, tr.Grade, "seed %d", seed)
				if tr.Phase == drift.LaserKnown && tr.MissedDays == 0 {
					judged++
				}
			})
		}
		t.Logf("noise times %v: none raised in %d laser-years, largest index %.3f, %.0f %% of the days judged", noise, 2*lasers, worst, 100*float64(judged)/(730*lasers))
		require.Less(t, worst, most)
		require.Greater(t, judged, 600*lasers, "winter was learnt when it came")
	}
}

// An index that grows passes the three limits, soon after it has reached them
// and never before it was near.
func TestGradesFollowTheLimits(t *testing.T) {
	var late []float64
	for seed := range uint64(20) {
		p := newLamp(100 + seed)
		rate := 0.004 + 0.002*float64(seed%5) // a day... of a hundred
		p.aged = func(d float64) float64 { return rate / 10 * max(0, d-60) }
		var l drift.Laser
		grade := 0
		p.watch(&l, 0, 60+int(6/rate), func(day int, tr drift.LaserTrend) {
			if tr.Grade > grade {
				require.Equal(t, grade+1, tr.Grade, "one after the other")
				limit := []float64{0.1, 0.2, 0.5}[grade]
				require.InDelta(t, limit, tr.Passed, 1e-9)
				truth := p.aged(float64(day))
				require.Greater(t, truth, limit*0.9, "seed %d", seed)
				late = append(late, (truth-limit)/(rate/10))
				grade = tr.Grade
			}
		})
		require.Equal(t, 3, grade, "seed %d", seed)
	}
	slices.Sort(late)
	t.Logf("days from passing a limit to its grade: median %.0f, 90 %% %.0f", late[len(late)/2], late[len(late)*9/10])
	require.Less(t, late[len(late)*9/10], 30.0)
}

func TestAGradeNeedsEvidenceToClear(t *testing.T) {
	p := newLamp(7)
	p.aged = func(d float64) float64 {
		if d < 40 || d > 160 {
			return 0
		}
		return 0.13
	}
	var l drift.Laser
	raised, cleared := 0, 0
	p.watch(&l, 0, 220, func(day int, tr drift.LaserTrend) {
		switch {
		case tr.Grade == 1 && raised == 0:
			raised = day
		case tr.Grade == 0 && raised > 0 && cleared == 0:
			cleared = day
		}
	})
	require.Greater(t, raised, 44)
	require.Less(t, raised, 90)
	require.Greater(t, cleared, 166)
	require.Less(t, cleared, 190)
}

// A laser that is met hotter than it was learnt, without a way there, gets no
// verdict, however odd its bias.
func TestNoVerdictBeyondTheTemperaturesSeen(t *testing.T) {
	p := newLamp(3)
	p.season = 0
	var l drift.Laser
	p.watch(&l, 0, 40, nil)
	c := drift.DefaultLaser()
	before := l.Trend(&c)
	p.mean, p.aged = 75, func(float64) float64 { return 0.5 }
	p.watch(&l, 60, 40, func(_ int, tr drift.LaserTrend) { require.Zero(t, tr.Grade) })
	after := l.Trend(&c)
	require.InDelta(t, before.Index, after.Index, 0.005, "the last day at known temperatures had not ended")
	require.Equal(t, before.Judged.AddDate(0, 0, 1), after.Judged)
	require.Equal(t, before.HotC, after.HotC)
	require.Greater(t, after.MissedDays, 35)
}

// The forecast is an interval that holds the truth in four cases of five.
func TestForecastOfALaser(t *testing.T) {
	hit, early, all := 0, 0, 0
	var off []float64
	for seed := range uint64(60) {
		p := newLamp(500 + seed)
		rate := []float64{0.0004, 0.0008, 0.0015}[seed%3]
		if seed%2 == 0 {
			p.aged = func(d float64) float64 { return rate * max(0, d-50) }
		} else {
			fold := []float64{220, 330, 550}[seed/6%3] // days in which the rate grows e-fold
			p.aged = func(d float64) float64 { return rate * fold * math.Expm1(max(0, d-50)/fold) }
		}
		var l drift.Laser
		p.watch(&l, 0, 900, func(day int, tr drift.LaserTrend) {
			if day%30 != 0 || !tr.HasForecast || p.aged(float64(day)) >= tr.Next {
				return
			}
			truth := 0.0
			for p.aged(float64(day)+truth) < tr.Next {
				truth++
			}
			all++
			switch d := truth * 24 * float64(time.Hour); {
			case d < float64(tr.Earliest):
				early++
			case d <= float64(tr.Latest):
				hit++
			}
			off = append(off, math.Abs(tr.Expected.Hours()/24/truth-1))
		})
	}
	slices.Sort(off)
	t.Logf("%d forecasts: %.0f %% within the interval, %.0f %% sooner; median error %.0f %%", all, 100*float64(hit)/float64(all), 100*float64(early)/float64(all), 100*off[len(off)/2])
	require.Greater(t, all, 300)
	require.InDelta(t, 0.8, float64(hit)/float64(all), 0.08)
}

// TestLaserForecastByHand: 24.0 to 24.6 mA in 180 days, limit 28.8, are 1260
// days at that rate (link-budget practice, computed).
func TestLaserForecastByHand(t *testing.T) {
	p := newLamp(9)
	p.noise, p.slow, p.quantum, p.garbage = 0, 0, 0, 0
	perDay := 0.6 / 180 / 24.0
	p.aged = func(d float64) float64 { return perDay * max(0, d-14) }
	var l drift.Laser
	p.watch(&l, 0, 14+180+1, nil)
	c := drift.DefaultLaser()
	tr := l.Trend(&c)
	require.InDelta(t, 0.6/24, tr.Index, 0.003)
	require.InDelta(t, perDay*30.4375, tr.PerMonth, 2e-4)
	require.True(t, tr.HasForecast)
	require.InDelta(t, 0.1, tr.Next, 1e-9)
	require.InEpsilon(t, (0.1-0.6/24)/perDay*math.Exp(-0.23), tr.Expected.Hours()/24, 0.06, "to the first limit, 26.4 mA; a line is late by a quarter")
	days, ok := budget.UntilLimit(24.6, 28.8, 0.6/180)
	require.True(t, ok)
	require.InDelta(t, 1260, days, 1)
}

func TestNothingIsForecastOfASoundLaser(t *testing.T) {
	said := 0
	for seed := range uint64(10) {
		var l drift.Laser
		newLamp(seed).watch(&l, 0, 400, func(_ int, tr drift.LaserTrend) {
			if tr.HasForecast {
				said++
			}
		})
	}
	require.Less(t, said, 10*400/100)
}

func TestALaserAtAnyPollPeriod(t *testing.T) {
	for _, every := range []time.Duration{20 * time.Second, 5 * time.Minute, time.Hour} {
		p := newLamp(21)
		p.every = every
		p.aged = func(d float64) float64 { return 0.003 * max(0, d-20) }
		var l drift.Laser
		p.watch(&l, 0, 80, nil)
		c := drift.DefaultLaser()
		require.InDelta(t, p.aged(80), l.Trend(&c).Index, 0.03, every)
		require.Equal(t, 1, l.Trend(&c).Grade, every)
	}
}

func TestReadingsThatAreNone(t *testing.T) {
	var l, untouched drift.Laser
	c := drift.DefaultLaser()
	at := birth.Unix()
	for _, bad := range []struct{ bias, temp float64 }{
		{0, 20}, {-3, 20}, {math.NaN(), 20}, {math.Inf(1), 20}, {23, math.NaN()}, {23, 1e9},
	} {
		require.False(t, l.Observe(&c, at, bad.bias, bad.temp))
		require.Equal(t, untouched, l)
	}
	l.Observe(&c, at, 23, 25)
	once := l
	l.Observe(&c, at, 40, 25)
	l.Observe(&c, at-1, 40, 25)
	require.Equal(t, once, l, "not newer")
}

func TestColdStartsAndPlannedWorkAreNotRead(t *testing.T) {
	p := newLamp(13)
	var l drift.Laser
	c := drift.DefaultLaser()
	p.watch(&l, 0, 40, nil)
	require.Less(t, math.Abs(l.Trend(&c).Index), 0.02)
	for day := 41; day < 80; day++ { // an hour of light, twice too high, after each outage
		for n := range 2 {
			l.Observe(&c, birth.AddDate(0, 0, day).Unix()+int64(1800*n), 60, 35)
		}
	}
	require.Less(t, math.Abs(l.Trend(&c).Index), 0.02, "the first two hours after a gap do not count")
	l.Freeze(birth.AddDate(0, 0, 120).Unix())
	p.aged = func(float64) float64 { return 0.4 }
	p.watch(&l, 80, 40, nil)
	require.Zero(t, l.Trend(&c).Grade)
	require.Less(t, math.Abs(l.Trend(&c).Index), 0.02)
	p.watch(&l, 120, 30, nil)
	require.Equal(t, 2, l.Trend(&c).Grade)
	l.Renew()
	require.Equal(t, drift.LaserEmpty, l.Trend(&c).Phase)
}

func TestALaserIsSmall(t *testing.T) {
	t.Logf("%d bytes", unsafe.Sizeof(drift.Laser{}))
	require.LessOrEqual(t, unsafe.Sizeof(drift.Laser{}), uintptr(480))
}

func BenchmarkLaser(b *testing.B) {
	p := newLamp(2)
	type reading struct{ bias, temp float64 }
	readings := make([]reading, 48*200)
	for i := range readings {
		readings[i].bias, readings[i].temp = p.read(time.Duration(i) * p.every)
	}
	c := drift.DefaultLaser()
	var l drift.Laser
	b.ReportAllocs()
	i := 0
	for b.Loop() {
		if i == len(readings) {
			i, l = 0, drift.Laser{}
		}
		r := readings[i]
		l.Observe(&c, birth.Unix()+int64(i)*1800, r.bias, r.temp)
		i++
	}
}
