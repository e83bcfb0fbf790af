package visit

import (
	"cmp"
	"context"
	"math"
	"slices"
	"time"

	"go.uber.org/zap"

	"lightwell/alarms"
	"lightwell/alarms/statistic"
	"lightwell/collector"
	"lightwell/collector/history"
)

// Level is what one point read before or after a visit.
type Level struct {
	Unit     string          `json:"unit"`
	Point    collector.Point `json:"point"`
	Value    float64         `json:"value"`              // median of the readings; the number of a state
	Spread   float64         `json:"spread"`             // robust standard deviation of one reading; 0: unknown
	Count    int             `json:"count"`              // of readings
	At       time.Time       `json:"at"`                 // of the newest
	Baseline *float64        `json:"baseline,omitempty"` // in force then
}

const (
	// beforeWindow is how far back readings count as those before the visit.
	beforeWindow = 15 * time.Minute
	// settleTime is how long the levels after a visit are read.
	settleTime = 10 * time.Minute
	// settleLimit is how long a unit is waited for that has not answered since.
	settleLimit = 2 * time.Hour
	// historyTimeout bounds the questions to the history; without an answer
	// the last reading counts.
	historyTimeout = 10 * time.Second
)

// levels returns what the points of a site read between from and to: the
// median of the readings where the history has some, else the last reading,
// unless it is from before notBefore.
func (b *Book) levels(ctx context.Context, site string, from, to, notBefore time.Time) []Level {
	ctx, cancel := context.WithTimeout(ctx, historyTimeout)
	defer cancel()
	out := []Level{}
	for _, u := range b.cfg.Units(site) {
		past := b.past(ctx, u.Unit.ID, from, to)
		for _, p := range u.Unit.Equipment.Points {
			info, ok := p.Quantity.Info()
			pv, seen := u.Points[p]
			if !ok || !seen || !info.Compared && info.States == nil {
				continue
			}
			l := Level{Unit: u.Unit.ID, Point: p}
			if pv.Baseline != nil {
				base := pv.Baseline.Value
				l.Baseline, l.Spread = &base, pv.Baseline.Spread
			}
			r := pv.Reading
			switch values := past[p]; {
			case len(values) > 0:
				l.sum(values, info.States != nil)
			case u.Up() && r.Quality == collector.Good && !r.Taken.Before(notBefore):
				l.Value, l.Count, l.At = r.Value, 1, r.Taken
			default:
				continue
			}
			out = append(out, l)
		}
	}
	return out
}

func (b *Book) past(ctx context.Context, unit string, from, to time.Time) map[collector.Point][]history.Sample {
	if b.cfg.History == nil || !from.Before(to) {
		return nil
	}
	series, err := b.cfg.History.Query(ctx, history.Query{Unit: unit, From: from, To: to})
	if err != nil {
		b.cfg.Log.Warn("levels of a visit: history does not answer, the last reading counts", zap.String("unit", unit), zap.Error(err))
		return nil
	}
	out := make(map[collector.Point][]history.Sample, len(series))
	for _, s := range series {
		out[s.Point] = s.Samples
	}
	return out
}

// enoughForSpread is how many readings tell their spread.
const enoughForSpread = 5

// sum takes the median and the spread of samples, in order of time. Of a
// state the last counts.
func (l *Level) sum(samples []history.Sample, state bool) {
	last := samples[len(samples)-1]
	l.Value, l.Count, l.At = last.Value, len(samples), last.Time
	if state {
		return
	}
	values := make([]float64, len(samples))
	for i, s := range samples {
		values[i] = s.Value
	}
	l.Value = statistic.MedianOf(values)
	if len(values) >= enoughForSpread {
		l.Spread = statistic.Sigma(values, l.Value, l.Spread)
	}
}

// stdErr is the standard error of the level: 1.2533 times that of a mean, as
// for any median of normal values.
func (l *Level) stdErr() float64 { return 1.2533 * l.Spread / math.Sqrt(float64(l.Count)) }

// answered tells whether all units that are asked directly have answered since.
func answered(units []alarms.UnitView, since time.Time) bool {
	return !slices.ContainsFunc(units, func(u alarms.UnitView) bool { return !u.LastSuccess.After(since) })
}

func compareLevels(a, b Level) int {
	return cmp.Or(cmp.Compare(a.Unit, b.Unit), cmp.Compare(a.Point.String(), b.Point.String()))
}
