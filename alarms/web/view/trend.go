package view

import (
	"fmt"
	"math"
	"strings"
	"time"

	"lightwell/alarms"
	"lightwell/alarms/drift"
)

// Trend is how an optical power has changed since its baseline.
type Trend struct {
	Phase        string            `json:"phase" doc:"How far the baseline of the trend is: first day, provisional, final or doubtful."`
	LostDB       float64           `json:"lost_db" doc:"Lost against the baseline in force at equal temperature; what a far laser sends less is taken off. Positive is worse."`
	LostSE       float64           `json:"lost_standard_error_db"`
	SinceFirstDB float64           `json:"lost_since_first_db" doc:"Lost since the first baseline, over all visits."`
	PerMonthDB   *float64          `json:"lost_per_month_db,omitempty" doc:"From the final baseline on."`
	PerMonthSE   *float64          `json:"lost_per_month_standard_error_db,omitempty"`
	TempCoeff    *float64          `json:"temperature_coefficient_db_per_celsius,omitempty"`
	TempCoeffSE  *float64          `json:"temperature_coefficient_standard_error,omitempty"`
	Daily        string            `json:"daily,omitempty" doc:"Swing over the day, and which case temperature it follows, in words; missing: none to speak of."`
	Thermometer  string            `json:"temperature_of,omitempty" doc:"Id of the unit whose case temperature explains the point."`
	Drift        bool              `json:"drift"`
	Step         bool              `json:"step"`
	Intermittent bool              `json:"intermittent"`
	Since        time.Time         `json:"since,omitzero" doc:"When the oldest of the three began."`
	StepDB       float64           `json:"step_db,omitempty" doc:"Part of lost_db that came at once."`
	Forecasts    []alarms.Forecast `json:"forecasts,omitempty" doc:"Only while it drifts."`
}

// newTrend returns nil where nothing is known yet.
func newTrend(pv *alarms.PointView) *Trend {
	t := pv.Trend
	if t == nil || t.Phase < drift.Provisional {
		return nil
	}
	v := &Trend{
		Phase: t.Phase.String(), LostDB: t.LostDB, LostSE: t.LostSE, SinceFirstDB: t.SinceFirstDB, Thermometer: pv.Thermometer,
		Drift: t.Drift, Step: t.Step, Intermittent: t.Intermittent, Since: t.Since, StepDB: t.StepDB, Forecasts: pv.Forecasts,
	}
	if t.Phase >= drift.Final {
		v.PerMonthDB, v.PerMonthSE = known(t.SlopeDBPerMonth), known(t.SlopeSE)
	}
	v.Daily = daily(pv)
	if pv.Thermometer != "" {
		v.TempCoeff, v.TempCoeffSE = known(t.TempCoeff), known(t.TempCoeffSE)
	}
	return v
}

func known(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}

// Bad tells whether something is wrong with it.
func (t *Trend) Bad() bool { return t.Drift || t.Step || t.Intermittent }

// Before tells whether something was lost before the last visit.
func (t *Trend) Before() bool { return math.Abs(t.SinceFirstDB-t.LostDB) >= 0.05 }

// Words tells in a line what is wrong, or that nothing is.
func (t *Trend) Words() string {
	var out []string
	if t.Step {
		out = append(out, fmt.Sprintf("lost %.2f dB at once", t.StepDB))
	}
	if t.Drift {
		out = append(out, "falls slowly")
	}
	if t.Intermittent {
		out = append(out, "comes and goes")
	}
	if len(out) == 0 {
		return "steady"
	}
	return strings.Join(out, ", ")
}

// Outlook tells how long is left; "" while it does not drift.
func (t *Trend) Outlook() string {
	f, ok := alarms.Nearest(t.Forecasts)
	if !ok {
		return ""
	}
	return fmt.Sprintf("%.1f dB lost %s from %s on", f.LossDB, f.Words, f.Made.UTC().Format(time.DateOnly))
}

// A swing over the day is told from so many decibels on, from its greatest to
// its least, when it makes up most of what moves the point.
const (
	dailyLeast = 0.1
	dailyShare = 0.5
)

// daily says how far a point swings over the day, and what that follows.
func daily(pv *alarms.PointView) string {
	d, t := pv.Daily, pv.Trend
	if d == nil || d.Share < dailyShare || 2*d.Amplitude < dailyLeast {
		return ""
	}
	swing := fmt.Sprintf("%.1f dB over the day", 2*d.Amplitude)
	if pv.Thermometer == "" || !(math.Abs(t.TempCoeff) > 2*t.TempCoeffSE) {
		return swing + ", follows no temperature that is read"
	}
	return swing + ", follows the case temperature of " + pv.Thermometer
}
