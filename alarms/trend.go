package alarms

import (
	"time"

	"lightwell/alarms/drift"
	"lightwell/collector"
)

// TrendSource tells how points have changed over weeks and months.
type TrendSource interface {
	// Trends returns what is known of a unit's points, and a version. Given
	// the version of before, and nothing new since, it returns no trends.
	// Nobody changes what the trends hold.
	Trends(unit string, since uint64) ([]PointTrend, uint64)
}

// PointTrend is how one point has changed.
type PointTrend struct {
	Point       collector.Point
	Trend       *drift.Trend      // of an optical power; nil: nothing known yet
	Laser       *drift.LaserTrend // of a laser bias; likewise
	Forecasts   []Forecast
	Thermometer string // id of the unit whose case temperature is taken out of the readings; empty: none
}

// A Forecast says when a limit is reached if things go on as they do.
type Forecast struct {
	Limit    string    `json:"limit" doc:"What is reached: 3 dB lost, the least that the receiver needs, or what the service bears by the plan of its link."`
	LossDB   float64   `json:"loss_db" doc:"Loss since the first baseline at which it is reached."`
	Made     time.Time `json:"made"`
	Earliest time.Time `json:"earliest" doc:"With latest, the interval in which 80 % of such forecasts come true."`
	Expected time.Time `json:"expected"`
	Latest   time.Time `json:"latest,omitzero" doc:"Missing: no end in sight."`
	Words    string    `json:"words" doc:"The interval in round words, counted from when it was made."`

	drift.Forecast `json:"-"`
}

// Limits of a Forecast.
const (
	LimitLoss     = "3 dB lost"               // six of radio
	LimitReceiver = "what the receiver needs" // by its model
	LimitService  = "what the service bears"  // by the plan of its link: C/N0, or the end of gain control
)

// NewForecast gives the times of a forecast their dates.
func NewForecast(limit string, lossDB float64, made time.Time, f drift.Forecast) Forecast {
	out := Forecast{
		Limit: limit, LossDB: lossDB, Made: made, Earliest: made.Add(f.Lower), Expected: made.Add(f.Middle), Words: f.String(), Forecast: f,
	}
	if !f.Open {
		out.Latest = made.Add(f.Upper)
	}
	return out
}

// Nearest returns the forecast that may come true first; false: there is none.
func Nearest(all []Forecast) (f Forecast, ok bool) {
	for _, next := range all {
		if !ok || next.Earliest.Before(f.Earliest) {
			f, ok = next, true
		}
	}
	return f, ok
}

// takeTrends takes over the trends that are known of the unit's points.
func (u *UnitView) takeTrends(source TrendSource) {
	if source == nil || len(u.Points) == 0 { // its first poll brings all points at once
		return
	}
	trends, version := source.Trends(u.Unit.ID, u.trends)
	u.trends = version
	for _, t := range trends {
		if pv, ok := u.Points[t.Point]; ok {
			pv.Trend, pv.Laser, pv.Forecasts, pv.Thermometer = t.Trend, t.Laser, t.Forecasts, t.Thermometer
			u.Points[t.Point] = pv
		}
	}
}
