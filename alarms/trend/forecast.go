package trend

import (
	"cmp"
	"context"
	"math"
	"slices"
	"sync"
	"time"

	"go.uber.org/zap"

	"lightwell/alarms"
	"lightwell/alarms/baseline"
	"lightwell/alarms/drift"
	"lightwell/collector"
	"lightwell/collector/history"
)

const (
	day    = 24 * time.Hour
	lossDB = 3.0 // of light are six of radio
	before = 14  // days asked for beside those since commissioning: gaps
)

// asked are points whose forecasts are to be made anew.
type asked struct {
	mu     sync.Mutex
	points map[*point]foreseen
}

type foreseen struct {
	unit  *unit
	point *point
	at    int64
}

// foresee has a point's forecasts made soon, if it drifts. Its site is locked.
func (k *Keeper) foresee(u *unit, p *point) {
	if !p.series.Trend(p.group.settings()).Drift {
		return
	}
	k.fading.mu.Lock()
	defer k.fading.mu.Unlock()
	if k.fading.points == nil {
		k.fading.points = map[*point]foreseen{}
	}
	k.fading.points[p] = foreseen{u, p, u.seen}
}

// Forecast makes the forecasts that days have brought up. Run does it by
// itself.
func (k *Keeper) Forecast(ctx context.Context) { k.forecast(ctx) }

func (k *Keeper) forecast(ctx context.Context) {
	k.fading.mu.Lock()
	asked := k.fading.points
	k.fading.points = nil
	k.fading.mu.Unlock()
	for _, a := range asked {
		if ctx.Err() != nil {
			return
		}
		k.foretell(ctx, a)
	}
}

// foretell makes the forecasts of one point: from its days, or where history
// does not know enough of them, from its slope.
func (k *Keeper) foretell(ctx context.Context, a foreseen) {
	a.unit.at.mu.Lock()
	t := a.point.series.Trend(a.point.group.settings())
	q := a.point.question(a.unit, t, time.Unix(a.at, 0))
	a.unit.at.mu.Unlock()
	var days []drift.Day
	if k.cfg.History != nil {
		var err error
		if days, err = k.days(ctx, q); err != nil {
			k.cfg.Log.Warn("a forecast is made without history", zap.String("unit", a.unit.id), zap.Error(err))
		}
	}
	out := k.predict(q, days, time.Unix(a.at, 0).UTC())
	a.unit.at.mu.Lock()
	defer a.unit.at.mu.Unlock()
	if a.point.shown != nil && a.point.shown.trend.Drift {
		a.point.shown = &shown{a.point.shown.trend, out}
		a.unit.version++
	}
}

// predict forecasts each limit. The intervals come from how wrong forecasts
// have been at that share of a limit, wider for points with more noise; so that none says that the larger loss
// comes first, it is held to the smaller one's.
func (k *Keeper) predict(q question, days []drift.Day, made time.Time) []alarms.Forecast {
	errors := k.cfg.Quantiles.Widened(q.noise)
	var out []alarms.Forecast
	var least drift.Forecast
	for _, l := range q.limits {
		f, ok := drift.Predict(days, l.LossDB-q.before, errors)
		if !ok {
			f, ok = bySlope(q.trend, l.LossDB, q.noise)
		}
		if !ok {
			continue
		}
		f.Lower, f.Middle, f.Upper = max(f.Lower, least.Lower), max(f.Middle, least.Middle), max(f.Upper, least.Upper)
		f.Open = f.Open || least.Open
		least = f
		out = append(out, alarms.NewForecast(l.Limit, l.LossDB, made, f))
	}
	return out
}

// question is what must be known for a point's days.
type question struct {
	from, to time.Time
	trend    drift.Trend
	limits   []alarms.Forecast // name and loss, the smaller first
	before   float64           // lost before the baseline in force
	noise    float64           // of points like it: their drift scale
	read     place
	warm     place // the thermometer that explains it; zero: none
	sent     place // the laser that alone feeds it; zero: not known
	sentWarm place
	level    *baseline.Level // of the laser
}

// place is a point of a unit.
type place struct {
	unit  string
	point collector.Point
}

func (p *point) question(u *unit, t drift.Trend, now time.Time) question {
	q := question{
		from: now.Add(-time.Duration(t.Days+before) * day), to: now, trend: t, before: t.SinceFirstDB - t.LostDB,
		noise:  float64(p.group.settings().DriftScale),
		read:   place{u.id, u.kind[p.pos]},
		limits: []alarms.Forecast{{Limit: alarms.LimitLoss, LossDB: lossDB}},
	}
	if p.own != nil {
		q.warm = p.own.place()
	}
	if least := u.least; least != nil && q.read.point.Quantity == collector.OpticalReceivePower && t.FirstBaseline > *least {
		q.limits = append(q.limits, alarms.Forecast{Limit: alarms.LimitReceiver, LossDB: t.FirstBaseline - *least})
	}
	if bears, ok := u.bears[q.read.point]; ok {
		q.limits = append(q.limits, alarms.Forecast{Limit: alarms.LimitService, LossDB: bears})
	}
	if len(q.limits) > 1 {
		slices.SortFunc(q.limits, func(a, b alarms.Forecast) int { return cmp.Compare(a.LossDB, b.LossDB) })
	}
	if p.feed != nil {
		q.sent, q.level = p.feed.place, p.feed.level
		if p.feed.gauge != nil {
			q.sentWarm = p.feed.gauge.place()
		}
	}
	return q
}

func (g *gauge) place() place { return place{g.of.id, g.of.kind[g.pos]} }

// days asks history for the loss of each day, at equal temperature and as far
// as it is not the laser's.
func (k *Keeper) days(ctx context.Context, q question) ([]drift.Day, error) {
	read, err := k.daily(ctx, q, q.read)
	if err != nil {
		return nil, err
	}
	warm, err := k.daily(ctx, q, q.warm)
	if err != nil {
		return nil, err
	}
	sent, err := k.daily(ctx, q, q.sent)
	if err != nil {
		return nil, err
	}
	sentWarm, err := k.daily(ctx, q, q.sentWarm)
	if err != nil {
		return nil, err
	}
	first := int32(q.to.Unix()/86400) - int32(q.trend.Days)
	var out []drift.Day
	for n, value := range read {
		if n < first {
			continue
		}
		t, known := warm[n]
		if !known && !math.IsNaN(q.trend.ReferenceC) {
			continue
		}
		expected := q.trend.Baseline
		if known && !math.IsNaN(q.trend.ReferenceC) {
			expected += q.trend.TempCoeff * (t - q.trend.ReferenceC)
		}
		if tx, ok := sent[n]; ok && q.level != nil {
			heat, ok := sentWarm[n]
			if !ok {
				heat = math.NaN()
			}
			value -= offset(*q.level, tx, heat)
		}
		out = append(out, drift.Day{Day: n, Loss: float32(expected - value)})
	}
	slices.SortFunc(out, func(a, b drift.Day) int { return int(a.Day - b.Day) })
	return out, nil
}

// daily returns the median of each whole day of a point.
func (k *Keeper) daily(ctx context.Context, q question, p place) (map[int32]float64, error) {
	if p.unit == "" {
		return nil, nil
	}
	series, err := k.cfg.History.Query(ctx, history.Query{Unit: p.unit, Points: []collector.Point{p.point}, From: q.from, To: q.to, Step: day})
	if err != nil {
		return nil, err
	}
	out := map[int32]float64{}
	for _, s := range series {
		for _, v := range s.Samples {
			if n := int32(v.Time.Unix() / 86400); s.Point == p.point && n < int32(q.to.Unix()/86400) {
				out[n] = v.Value
			}
		}
	}
	return out, nil
}

// slopeError is the median of |ln(true/predicted)| that forecasts by a slope
// alone had on made-up series, by share of the limit lost: below 10, 30, 60
// and 100 %.
var slopeError = [...]struct{ below, error float64 }{{0.1, 0.71}, {0.3, 0.29}, {0.6, 0.15}, {math.Inf(1), 0.11}}

const (
	quartile = 0.6745 // of the normal distribution: the median of |x|
	decile   = 1.2816
	farDays  = 20 * 365.25
	widest   = 10 // times the early end: a late end beyond says nothing
)

// bySlope forecasts by the slope alone: wider than by the days, and wider
// still by the noise of points like it.
func bySlope(t drift.Trend, limit, noise float64) (drift.Forecast, bool) {
	slope := t.SlopeDBPerMonth / 30.4375 // per day
	left := limit - t.SinceFirstDB
	if !(slope > 0) || !(left > 0) {
		return drift.Forecast{}, false
	}
	share := max(0, t.SinceFirstDB/limit)
	i := slices.IndexFunc(slopeError[:], func(e struct{ below, error float64 }) bool { return share < e.below })
	spread := decile * math.Hypot(max(1, noise)*slopeError[i].error/quartile, t.SlopeSE/t.SlopeDBPerMonth)
	days := left / slope
	at := func(x float64) time.Duration {
		return time.Duration(min(days*math.Exp(x), farDays) * float64(day)).Round(time.Hour)
	}
	f := drift.Forecast{Lower: at(-spread), Middle: at(0), Upper: at(spread), Share: share}
	f.Open = days*math.Exp(spread) >= farDays || 2*spread > math.Log(widest)
	return f, days*math.Exp(-spread) < farDays
}
