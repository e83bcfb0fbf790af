package view

import (
	"fmt"
	"time"

	"lightwell/alarms"
	"lightwell/alarms/drift"
)

// Laser is how a laser has aged since it was learnt.
type Laser struct {
	Phase      string    `json:"phase" doc:"learning or known: whether its own temperature model is fitted."`
	Days       int       `json:"days" doc:"With readings, while learning; of judgement afterwards."`
	Index      *float64  `json:"ageing_index,omitempty" doc:"Share by which it needs more bias than when it was learnt, at equal temperature."`
	IndexSE    *float64  `json:"ageing_index_standard_error,omitempty"`
	PerMonth   *float64  `json:"per_month,omitempty" doc:"By which the index grows."`
	PerMonthSE *float64  `json:"per_month_standard_error,omitempty"`
	ColdC      *float64  `json:"known_from_celsius,omitempty" doc:"With known_to_celsius, the case temperatures at which it can be judged."`
	HotC       *float64  `json:"known_to_celsius,omitempty"`
	Judged     time.Time `json:"judged,omitzero" doc:"End of the newest day that could be judged."`
	MissedDays int       `json:"days_not_judged,omitempty" doc:"Since then, because the case was colder or hotter."`
	Since      time.Time `json:"since,omitzero" doc:"Since when the ageing stands out of its noise."`
	NextLimit  *float64  `json:"next_limit,omitempty"`
	Earliest   time.Time `json:"earliest,omitzero" doc:"With latest, the interval in which the next limit is reached in 80 % of such forecasts."`
	Latest     time.Time `json:"latest,omitzero"`
	Bad        bool      `json:"beyond_a_limit"`

	reachWords  string
	forecasting bool
}

// newLaser returns nil where no laser is followed.
func newLaser(pv *alarms.PointView) *Laser {
	t := pv.Laser
	if t == nil || t.Phase == drift.LaserEmpty {
		return nil
	}
	v := &Laser{Phase: t.Phase.String(), Days: t.Days}
	if t.Phase != drift.LaserKnown {
		return v
	}
	v.ColdC, v.HotC, v.MissedDays = known(t.ColdC), known(t.HotC), t.MissedDays
	if t.Judged.IsZero() {
		return v
	}
	v.Index, v.IndexSE, v.PerMonth, v.PerMonthSE = known(t.Index), known(t.IndexSE), known(t.PerMonth), known(t.MonthSE)
	v.Judged, v.Since, v.Bad = t.Judged, t.Since, t.Grade > 0
	if t.Next > 0 {
		v.NextLimit = known(t.Next)
	}
	if t.HasForecast {
		v.Earliest, v.Latest, v.forecasting = t.Judged.Add(t.Earliest), t.Judged.Add(t.Latest), true
		v.reachWords = drift.Forecast{Lower: t.Earliest, Middle: t.Expected, Upper: t.Latest}.String()
	}
	return v
}

// Words tells in a line how the laser is.
func (l *Laser) Words() string {
	switch {
	case l.Phase != drift.LaserKnown.String():
		return fmt.Sprintf("being learnt, %d days so far", l.Days)
	case l.Index == nil:
		return "just learnt"
	case l.MissedDays > 0:
		return fmt.Sprintf("not judged for %d days: the case is outside the %.0f to %.0f °C it was learnt at", l.MissedDays, *l.ColdC, *l.HotC)
	case l.Bad:
		return "aged"
	case !l.Since.IsZero():
		return "ageing"
	}
	return "as when it was learnt"
}

// Outlook tells when the next limit is reached; "" when that cannot be told.
func (l *Laser) Outlook() string {
	if !l.forecasting || l.NextLimit == nil {
		return ""
	}
	return fmt.Sprintf("+%.0f %% %s from %s on", 100**l.NextLimit, l.reachWords, l.Judged.UTC().Format(time.DateOnly))
}

// Percent turns a share into percent.
func (l *Laser) Percent(share *float64) *float64 {
	v := 100 * *share
	return &v
}
