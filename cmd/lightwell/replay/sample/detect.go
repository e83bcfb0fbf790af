package sample

import (
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"time"

	"lightwell/alarms/drift"
)

// Kinds of a detection.
const (
	kindDrift        = "drift"
	kindStep         = "step"
	kindIntermittent = "intermittent"
	kindForecast     = "forecast"
)

// limitDB is the loss at which a point of a sample fails.
const limitDB = 3

// A Detection is one alarm, or a forecast while one stands.
type Detection struct {
	Series string
	Time   int64 // seconds from day 0
	Kind   string
	// When the limit is reached, and the 80 % interval; NaN: no forecast.
	Fail, Low, High float64
}

// A Summary tells what a run came to.
type Summary struct {
	Series, Days int     // points, and days of points
	Readings     int     // answers
	FalseAlarms  float64 // estimate of the mirror, per 100 point-years; NaN: nothing was watched
	DriftScale   float64 // factors on the thresholds on the last day
	StepScale    float64
	Detections   []Detection // by series in order of the file, then by time
}

// shelf holds the points in order of their first line.
type shelf struct {
	all   []*point
	index map[string]*point
}

func (s *shelf) point(name string, visits map[string][]visit) *point {
	p, ok := s.index[name]
	if !ok {
		p = &point{name: name, visits: visits[name]}
		s.index[name] = p
		s.all = append(s.all, p)
	}
	return p
}

// Run goes through a folder.
func Run(ctx context.Context, folder string) (*Summary, error) {
	visits, err := service(filepath.Join(folder, "service.csv"))
	if err != nil {
		return nil, err
	}
	plan, err := calibrate(ctx, folder, visits)
	if err != nil {
		return nil, err
	}
	sum := &Summary{}
	var mirrors drift.Tally
	points := shelf{index: map[string]*point{}}
	err = each(ctx, folder, func(r *row) {
		sum.Days++
		p := points.point(r.series, visits)
		sum.Readings += p.live(plan.on(r.day), r, func(t drift.Turn, at int64) {
			mirrors.Observe(t)
			p.told(plan.on(r.day), t, at)
		})
	})
	if err != nil {
		return nil, err
	}
	sum.Series = len(points.all)
	sum.FalseAlarms = mirrors.FalseAlarms()
	for _, p := range points.all {
		sum.Detections = append(sum.Detections, p.detections...)
	}
	last := plan.group.Settings()
	sum.DriftScale, sum.StepScale = float64(last.DriftScale), float64(last.StepScale)
	return sum, nil
}

func service(path string) (map[string][]visit, error) {
	f, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return readService(path, f)
}

// each calls with every row of the folder's readings.
func each(ctx context.Context, folder string, do func(*row)) error {
	path := filepath.Join(folder, "readings.csv.gz")
	if _, err := os.Stat(path); errors.Is(err, fs.ErrNotExist) {
		path = filepath.Join(folder, "readings.csv")
	}
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	r, err := newRows(path, f)
	for err == nil && ctx.Err() == nil {
		var next *row
		if next, err = r.next(); err == nil && next == nil {
			return nil
		}
		if err == nil {
			do(next)
		}
	}
	return cmpErr(err, ctx.Err())
}

// plan holds the settings of each day.
type plan struct {
	group *drift.Group // on the last day
	days  []drift.Settings
}

func (p *plan) on(number int) *drift.Settings { return &p.days[number] }

// calibrate looks at the mirrors only: what all points saw until a day sets
// the thresholds of the next.
func calibrate(ctx context.Context, folder string, visits map[string][]visit) (*plan, error) {
	var seen []drift.Tally
	c := drift.Default()
	c.StepScale = drift.MaxStepScale // a mirror that is not cut off shows how far it goes
	points := shelf{index: map[string]*point{}}
	err := each(ctx, folder, func(r *row) {
		if n := r.day + 1 - len(seen); n > 0 {
			seen = append(seen, make([]drift.Tally, n)...)
		}
		points.point(r.series, visits).live(&c, r, func(t drift.Turn, _ int64) { seen[r.day].Observe(t) })
	})
	if err != nil {
		return nil, err
	}
	p := &plan{days: make([]drift.Settings, len(seen))}
	var total drift.Tally
	for i := range seen {
		p.group = drift.NewGroup(drift.Default(), total)
		p.days[i] = *p.group.Settings()
		total.Add(seen[i])
	}
	p.group = drift.NewGroup(drift.Default(), total)
	return p, nil
}

// point is one series of the sample on its way.
type point struct {
	name       string
	series     drift.Series
	visits     []visit // to come
	inside     bool    // the first of them
	past       []drift.Day
	before     int64 // time of the answer before
	forecast   int64 // when the next is due
	detections []Detection
}

const week = 7 * day

// epoch makes a time of the sample one of a Series, which knows no 0.
const epoch = 10 * 365 * day

// live gives a row to the series and returns how many answers were in it.
func (p *point) live(c *drift.Settings, r *row, told func(drift.Turn, int64)) int {
	answers := 0
	for k, rx := range r.rx {
		at := r.at(k)
		p.visit(c, at)
		if rx == missing {
			continue
		}
		answers++
		temp := math.NaN()
		if r.temp[k] != missing {
			temp = float64(r.temp[k]) / 10
		}
		if t := p.series.Observe(c, at+epoch, float64(rx)/100, temp); t != (drift.Turn{}) {
			told(t, at)
		}
		p.before = at
	}
	return answers
}

// visit follows the recorded visits.
func (p *point) visit(c *drift.Settings, at int64) {
	for len(p.visits) > 0 && at >= p.visits[0].begin {
		if !p.inside {
			p.inside = true
			p.series.Freeze(c, at+epoch)
		}
		if at < p.visits[0].finish {
			return
		}
		p.series.Rebase(p.visits[0].finish + epoch)
		p.visits, p.inside, p.past = p.visits[1:], false, nil
	}
}

// told writes down what a reading brought to an end.
func (p *point) told(c *drift.Settings, t drift.Turn, at int64) {
	if !t.Day && t.Raised|t.Worse == 0 {
		return
	}
	trend := p.series.Trend(c)
	if t.Measured && trend.Phase >= drift.Final {
		p.past = append(p.past, drift.Day{Day: int32(p.before / day), Loss: float32(trend.DayDB)})
	}
	for _, k := range []struct {
		kind drift.Kinds
		name string
	}{{drift.Drift, kindDrift}, {drift.Step, kindStep}, {drift.Intermittent, kindIntermittent}} {
		if (t.Raised | t.Worse).Has(k.kind) {
			p.detections = append(p.detections, p.predicted(c, k.name, at))
			if k.kind == drift.Drift {
				p.forecast = at + week
			}
		}
	}
	if trend.Drift && at >= p.forecast {
		p.forecast = at + week
		if d := p.predicted(c, kindForecast, at); !math.IsNaN(d.Fail) {
			p.detections = append(p.detections, d)
		}
	}
}

// predicted is a detection with the forecast that goes with it.
func (p *point) predicted(c *drift.Settings, kind string, at int64) Detection {
	d := Detection{Series: p.name, Time: at, Kind: kind, Fail: math.NaN(), Low: math.NaN(), High: math.NaN()}
	if kind != kindDrift && kind != kindForecast {
		return d
	}
	f, ok := drift.Predict(p.past, limitDB, drift.DefaultQuantiles().Widened(float64(c.DriftScale)))
	if !ok {
		return d
	}
	from := (float64(p.past[len(p.past)-1].Day) + 0.5) * day // a day's loss is that of its noon
	when := func(after time.Duration) float64 { return math.Max(from+after.Seconds(), float64(at)) }
	d.Fail, d.Low, d.High = when(f.Middle), when(f.Lower), when(f.Upper)
	if f.Open {
		d.High = math.Inf(1)
	}
	return d
}

// WriteCSV writes detections as a table.
func WriteCSV(out io.Writer, detections []Detection) error {
	w := csv.NewWriter(out)
	rows := [][]string{{"series", "time_s", "kind", "pred_fail_s", "lo80_s", "hi80_s"}}
	for _, d := range detections {
		rows = append(rows, []string{d.Series, strconv.FormatInt(d.Time, 10), d.Kind, seconds(d.Fail), seconds(d.Low), seconds(d.High)})
	}
	if err := w.WriteAll(rows); err != nil {
		return fmt.Errorf("write detections: %w", err)
	}
	return nil
}

func seconds(s float64) string {
	switch {
	case math.IsNaN(s):
		return ""
	case math.IsInf(s, 1):
		return "inf"
	}
	return strconv.FormatFloat(math.Round(s), 'f', 0, 64)
}
