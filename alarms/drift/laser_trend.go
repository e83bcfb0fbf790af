package drift

import (
	"math"
	"time"

	"lightwell/alarms/statistic"
)

// A LaserTrend is what a Laser says.
type LaserTrend struct {
	Phase              LaserPhase
	Days               int       // with readings, that the model was taught; or since then, once it is known
	Index, IndexSE     float64   // share by which the bias exceeds that of the laser as learnt, at equal temperature
	PerMonth, MonthSE  float64   // by which the index grows
	Grade              int       // limits passed: 0 none, 1 warning, 2 minor, 3 major
	Passed, Next       float64   // the limit passed last, and the next one; 0: none
	Since              time.Time // day since when the index is beyond its noise; zero: it is not
	Judged             time.Time // end of the newest day that could be judged; zero: none yet
	MissedDays         int       // since then, for temperatures that the model does not know
	ColdC, HotC        float64   // temperatures that the model knows
	CharK              float64   // its characteristic temperature
	ModelError         float64   // share of the bias: what the model leaves of what it was taught
	HotBiasMA          float64   // expected at HotC of the laser as it is now
	HasForecast        bool
	Earliest, Expected time.Duration // from Judged until Next, if it goes on like this: 80 % interval with Latest
	Latest             time.Duration
}

const daySeconds = 86400

// endOf returns the end of a day counted from 1970.
func endOf(day int32) time.Time { return time.Unix(int64(day+1)*daySeconds, 0).UTC() }

// Trend returns what is known now.
func (l *Laser) Trend(c *LaserSettings) LaserTrend {
	t := LaserTrend{Phase: l.phase, Days: int(l.taught)}
	if l.phase != LaserKnown {
		return t
	}
	a, m := &l.ageing, &l.model
	t.ColdC, t.HotC, t.CharK, t.ModelError = float64(m.cold), float64(m.hot), float64(m.char), float64(m.left)
	t.Days = int(max(a.judged-a.began, 0))
	t.Index, t.IndexSE = float64(a.level), math.Sqrt(float64(a.sure+m.left*m.left))
	t.HotBiasMA = m.laser().Bias(1, t.HotC) * (1 + t.Index)
	t.Grade, t.MissedDays = int(a.grade), int(a.missed)
	if a.judged > a.began {
		t.Judged = endOf(a.judged)
	}
	if a.since != 0 {
		t.Since = endOf(a.since - 1)
	}
	if a.grade > 0 {
		t.Passed = round2(c.Limits[a.grade-1])
	}
	if int(a.grade) < len(c.Limits) {
		t.Next = round2(c.Limits[a.grade])
	}
	if slope, se, ok := a.line.slope(); ok {
		t.PerMonth, t.MonthSE = slope*monthDays, se*monthDays
		t.forecast(c, slope, se, a.line.w-2)
	}
	return t
}

func round2(limit float32) float64 { return math.Round(float64(limit)*100) / 100 }

// forecast says when the next limit is reached, as an 80 % interval: the time
// that a straight line would take, times what such lines were wrong by. The
// error of the slope widens it where it is larger. Nothing is said of a growth
// that cannot be told from none.
func (t *LaserTrend) forecast(c *LaserSettings, perDay, se, freedom float64) {
	if t.Since.IsZero() || t.Next == 0 || t.Index >= t.Next || perDay < 2*se || perDay <= 0 {
		return
	}
	days, off := (t.Next-t.Index)/perDay, c.Ahead[t.Grade]
	own := statistic.StudentQuantile(0.9, max(freedom, 1)) * se / perDay
	low, middle, high := float64(off.Low), float64(off.Middle), float64(off.High)
	span := func(factor float64) time.Duration {
		const most = 100 * 365
		return time.Duration(min(days*math.Exp(factor), most) * 24 * float64(time.Hour))
	}
	t.HasForecast = true
	t.Earliest, t.Expected, t.Latest = span(middle-max(middle-low, own)), span(middle), span(middle+max(high-middle, own))
}
