package brief

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"lightwell/alarms"
	"lightwell/alarms/chart"
	"lightwell/collector"
	"lightwell/collector/history"
)

const (
	dayLong  = 24 * time.Hour
	longest  = 3 * 365 * dayLong // that a picture looks back
	samples  = 400               // of a picture, about
	fine     = 5 * time.Minute   // of a picture of a day or two
	noLocal  = "no history is kept here; only baseline and level now"
	noAnswer = "the history cannot be read now"
)

// trends makes the pictures: the links that jobs touch first.
func (w *Writer) trends(ctx context.Context, b *Brief) []trend {
	s := b.scene
	past := w.past(ctx, b)
	var out []trend
	for _, l := range s.fleet.LinksAt(b.Site) {
		for _, f := range s.fleet.Fibres(l) {
			t := w.trend(b, l, f, past[f.To.Unit])
			affected := slices.ContainsFunc(b.Links, func(r LinkLevel) bool { return r.Link == l.ID && r.Affected })
			out = append(out, trend{l.ID, affected, t, says(t)})
		}
	}
	slices.SortStableFunc(out, func(a, b trend) int {
		switch {
		case a.affected == b.affected:
			return 0
		case a.affected:
			return -1
		}
		return 1
	})
	return out
}

// memory is what a unit's points read since it was commissioned.
type memory struct {
	from   time.Time
	step   time.Duration
	points map[collector.Point][]chart.Sample
	why    string // why it is empty
}

// past reads the history of the units that receive, one query each.
func (w *Writer) past(ctx context.Context, b *Brief) map[string]memory {
	s := b.scene
	out := map[string]memory{}
	for _, l := range s.fleet.LinksAt(b.Site) {
		for _, f := range s.fleet.Fibres(l) {
			if _, known := out[f.To.Unit]; !known {
				out[f.To.Unit] = w.read(ctx, s, f.To.Unit)
			}
		}
	}
	for _, m := range out {
		switch m.why {
		case noAnswer:
			b.note("The history could not be read: the pictures show baseline and level now.")
			return out
		case noLocal:
			b.note("No history is kept here: the pictures show baseline and level now.")
			return out
		}
	}
	return out
}

func (w *Writer) read(ctx context.Context, s *scene, unit string) memory {
	return w.readFrom(ctx, s, unit, w.commissioned(unit, s.now))
}

func (w *Writer) readFrom(ctx context.Context, s *scene, unit string, from time.Time) memory {
	m := memory{from: from, points: map[collector.Point][]chart.Sample{}}
	m.step = max(time.Hour, (s.now.Sub(m.from) / samples).Truncate(time.Hour))
	switch {
	case s.now.Sub(m.from) <= 2*dayLong:
		m.step = fine
	case m.step > 12*time.Hour:
		m.step = max(dayLong, m.step.Truncate(dayLong))
	}
	if w.s.History == nil {
		m.why = noLocal
		return m
	}
	q := history.Query{Unit: unit, Points: asked(s.unit(unit)), From: m.from, To: s.now, Step: m.step}
	all, err := w.s.History.Query(ctx, q)
	if err != nil {
		m.why = noAnswer
		return m
	}
	for _, series := range all {
		for _, r := range series.Samples {
			m.points[series.Point] = append(m.points[series.Point], chart.Sample{Time: r.Time, Value: r.Value, Low: r.Min, High: r.Max})
		}
	}
	m.why = "no reading is kept of this point"
	return m
}

// asked are the points of a unit that a picture shows.
func asked(u *alarms.UnitView) []collector.Point {
	points := []collector.Point{{Quantity: collector.Temperature}}
	if u == nil {
		return append(points, collector.Point{Quantity: collector.OpticalReceivePower})
	}
	for _, p := range u.Unit.Equipment.Points {
		if p.Quantity == collector.OpticalReceivePower {
			points = append(points, p)
		}
	}
	return points
}

// commissioned is when the unit's first baseline was begun.
func (w *Writer) commissioned(unit string, now time.Time) time.Time {
	from := now.Add(-30 * dayLong)
	if w.s.Baselines != nil {
		if all := w.s.Baselines(unit); len(all) > 0 {
			from = all[0].Accepted
			if !all[0].Begun.IsZero() {
				from = all[0].Begun
			}
		}
	}
	if oldest := now.Add(-longest); from.Before(oldest) {
		return oldest
	}
	return from
}

func (w *Writer) trend(b *Brief, l collector.Link, f collector.Fibre, m memory) *chart.Trend {
	s := b.scene
	t := &chart.Trend{
		Title: named(l.Name, l.ID) + ", " + f.Name + ": optical receive power at " + f.To.Unit, Symbol: "dBm", Zone: s.zone(),
		From: m.from, To: s.now, Samples: m.points[f.Receiver()], Gap: 2*m.step + time.Hour, Empty: m.why,
		Temperature: m.points[collector.Point{Quantity: collector.Temperature}], Marks: marks(b, l, m.from),
	}
	if len(t.Samples) == 0 {
		t.Temperature = nil
	}
	u := s.unit(f.To.Unit)
	if u == nil {
		return t
	}
	pv := u.Points[f.Receiver()]
	if pv.Baseline != nil {
		t.Levels = append(t.Levels, chart.Level{Value: pv.Baseline.Value, Name: "baseline " + signed(pv.Baseline.Value, 1) + " dBm"})
	}
	now, _, good := u.Good(f.Receiver())
	if good && len(t.Samples) == 0 {
		t.Samples = []chart.Sample{{Time: s.now.Add(-time.Hour), Value: now, Low: now, High: now}, {Time: s.now, Value: now, Low: now, High: now}}
	}
	if limit, name, ok := s.limit(l, f, now, good); ok {
		t.Levels = append(t.Levels, chart.Level{Value: limit, Name: name + " " + signed(limit, 1) + " dBm", Limit: true})
	}
	t.Outlook = outlook(pv, now, good, s.now)
	return t
}

// limit is the level at which the link fails: by its margin where that is
// known for the direction, else the least that the receiver is built for.
func (s *scene) limit(l collector.Link, f collector.Fibre, now float64, good bool) (level float64, name string, ok bool) {
	if m, known := s.margin(l); known && good && m.Direction == f.Name {
		return now - m.LeftDB, "service fails at", true
	}
	to, _ := s.fleet.Unit(f.To.Unit)
	if least := to.Equipment.Limits.ReceivePowerMinDBm; least != nil {
		return *least, "receiver needs", true
	}
	return 0, "", false
}

// outlook is the nearest forecast of a point as a picture shows it.
func outlook(pv alarms.PointView, now float64, good bool, at time.Time) *chart.Outlook {
	f, ok := nearest(pv.Forecasts)
	if !ok || !good || pv.Trend == nil {
		return nil
	}
	done := at.Sub(f.Made)
	return &chart.Outlook{
		From: at, Value: now, Limit: pv.Trend.FirstBaseline - f.LossDB,
		Lower: max(0, f.Lower-done), Upper: max(0, f.Upper-done), Open: f.Open,
	}
}

// marks are the visits that touched a link, and planned work with a date.
func marks(b *Brief, l collector.Link, from time.Time) []chart.Mark {
	s := b.scene
	resources := []string{"site/" + b.Site, "link/" + l.ID, "unit/" + l.Outdoor, "unit/" + l.Indoor, "cable/" + l.Downlink.Cable, "cable/" + l.Uplink.Cable}
	touches := func(r string) bool { return slices.Contains(resources, r) }
	var out []chart.Mark
	for _, w := range s.fleet.PlannedWork {
		if at, err := time.Parse(time.RFC3339, w.Start); err == nil && at.After(from) && at.Before(s.now) && slices.ContainsFunc(w.Resources, touches) {
			out = append(out, chart.Mark{Begin: at, End: at.Add(w.Duration), Name: "planned work"})
		}
	}
	for _, v := range b.Visits {
		if v.Begun.After(from) && slices.ContainsFunc(v.Resources, touches) {
			out = append(out, chart.Mark{Begin: v.Begun, Name: "visit " + v.ID})
		}
	}
	slices.SortFunc(out, func(a, b chart.Mark) int { return a.Begin.Compare(b.Begin) })
	return out
}

// says tells what a picture shows, for those who cannot see it.
func says(t *chart.Trend) string {
	out := []string{t.Title}
	for _, l := range t.Levels {
		out = append(out, l.Name)
	}
	if n := len(t.Samples); n > 0 {
		out = append(out, fmt.Sprintf("last %s dBm", signed(t.Samples[n-1].Value, 1)))
	}
	return strings.Join(out, "; ")
}

// signed writes a number with a minus sign instead of a hyphen.
func signed(v float64, digits int) string {
	s := strconv.FormatFloat(v, 'f', digits, 64)
	if strings.Trim(s, "-0.") == "" {
		return strings.TrimPrefix(s, "-")
	}
	return strings.Replace(s, "-", "\u2212", 1)
}

// hours writes a duration as people say it.
func hours(d time.Duration) string {
	switch {
	case d >= 2*dayLong:
		return fmt.Sprintf("%.0f days", d.Hours()/24)
	case d >= 2*time.Hour:
		return fmt.Sprintf("%.1f h", d.Hours())
	}
	return fmt.Sprintf("%.0f min", d.Minutes())
}
