package trend

import (
	"lightwell/alarms"
	"lightwell/alarms/baseline"
	"lightwell/alarms/drift"
	"lightwell/collector"
)

// shown is what others see of a point. It is replaced, never changed.
type shown struct {
	trend     *drift.Trend
	forecasts []alarms.Forecast
}

// observe takes a good reading of the point.
func (p *point) observe(name collector.Point, levels map[collector.Point]baseline.Level, at int64, value float64) drift.Turn {
	if p.dark = p.dark || baseline.Dark(name.Quantity, value); p.dark {
		if baseline.Dark(name.Quantity, value) {
			return drift.Turn{}
		}
		p.dark = false
		p.chill(at)
	}
	temp := p.own.temperature(at)
	if level, known := levels[name]; known && p.sends != nil {
		p.sends.hear(level, value, temp)
	}
	if p.feed != nil {
		if p.feed.cold > p.cold {
			p.cold = p.feed.cold
			p.chill(at)
		}
		value -= p.feed.offset
	}
	t := p.series.Observe(p.group.settings(), at, value, temp)
	if p.rival != nil {
		p.rival.series.Observe(p.group.settings(), at, value, p.rival.gauge.temperature(at))
	}
	return t
}

// hear takes in what a laser sends.
func (s *sender) hear(l baseline.Level, value, tempC float64) {
	if s.level == nil || *s.level != l {
		level := l // not l itself, which would then be allocated each time
		s.level = &level
	}
	s.offset = offset(l, value, tempC)
}

// each calls fn with the series of the point.
func (p *point) each(fn func(*drift.Series)) {
	fn(&p.series)
	if p.rival != nil {
		fn(&p.rival.series)
	}
}

// chill has the next two hours ignored: lasers start cold.
func (p *point) chill(at int64) {
	p.each(func(s *drift.Series) {
		s.Freeze(p.group.settings(), at)
		s.Resume(at)
	})
}

// settle ends the contest of two temperatures once the baseline is final. The
// far end's wins only where it clearly explains more: both follow the same sun.
func (p *point) settle() {
	if p.rival == nil {
		return
	}
	own, far := p.series.Trend(p.group.settings()), p.rival.series.Trend(p.group.settings())
	if own.Phase < drift.Final {
		return
	}
	if far.Phase >= drift.Final && weight(far) > max(rivalLead*weight(own), rivalLeast) {
		p.series, p.own = p.rival.series, p.rival.gauge
	}
	p.rival = nil
}

const (
	rivalLead  = 1.5 // so many times as sure of its coefficient
	rivalLeast = 3   // and so many standard errors from nought
)

// weight is how sure a trend is that the temperature matters.
func weight(t drift.Trend) float64 {
	if !(t.TempCoeffSE > 0) {
		return 0
	}
	return max(t.TempCoeff, -t.TempCoeff) / t.TempCoeffSE
}

// show publishes what the series says now. Forecasts stay while the point
// drifts.
func (p *point) show(u *unit) {
	t := p.series.Trend(p.group.settings())
	if t.Phase == drift.Empty {
		return
	}
	next := &shown{trend: &t}
	if p.shown != nil {
		if *p.shown.trend == t { // NaN is never equal: a point without a temperature is shown anew, which does no harm
			return
		}
		if t.Drift {
			next.forecasts = p.shown.forecasts
		}
	}
	p.shown = next
	u.version++
}

// thermometer names the unit whose temperature explains a point.
func (p *point) thermometer() string {
	if p.own == nil {
		return ""
	}
	return p.own.of.id
}
