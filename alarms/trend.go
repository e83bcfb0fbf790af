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

// A Forecast says when a limit is reached if things go on as they do. Its
// times count from Made.
type Forecast struct {
	Limit  string    `json:"limit"`   // one of the Limit words
	LossDB float64   `json:"loss_db"` // at which the limit is reached, since the first baseline
	Made   time.Time `json:"made"`
	drift.Forecast
}

// Limits of a Forecast.
const (
	LimitLoss     = "3 dB lost"              // six of radio
	LimitReceiver = "least that is received" // what the model says that the receiver needs
)

// takeTrends takes over the trends that are known of the unit's points.
func (u *UnitView) takeTrends(source TrendSource) {
	if source == nil {
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
