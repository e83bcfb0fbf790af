package alarms

import (
	"time"

	"lightwell/alarms/baseline"
	"lightwell/alarms/drift"
	"lightwell/collector"
)

// Damping says how long something must hold before it counts. Both parts must
// be fulfilled; the zero value acts at once.
type Damping struct {
	Polls int           // polls in a row that agree
	For   time.Duration // time since the first of them
}

// Type is one kind of alarm: an entry of the alarm inventory of RFC 8632.
type Type struct {
	ID        string    `json:"id"`
	Title     string    `json:"title"`
	Why       string    `json:"why"`       // why a person must act
	ClearsBy  string    `json:"clears_by"` // what clears it
	Severity  Severity  `json:"severity"`  // default
	Cause     Cause     `json:"cause"`
	EventType EventType `json:"event_type"`
	Raise     Damping   `json:"-"`
	Clear     Damping   `json:"-"`
}

// A Rule judges a site for one type of alarm. It is pure: the same view gives
// the same verdicts.
type Rule interface {
	Type() Type
	// Judge returns one verdict for each resource it can judge. A resource
	// without a verdict is unknown: its alarm stays as it is.
	Judge(v *View) []Verdict
}

// A Verdict is what a rule thinks of one resource at one evaluation.
type Verdict struct {
	Resource  string
	Qualifier string
	Active    bool
	Severity  Severity  // zero: as assigned to the type
	Text      string    // for an active verdict: what is wrong and what to do
	Steady    bool      // the text tells of the time when it was written: another text alone is no change
	Seen      time.Time // time of the newest evidence; a verdict with the same Seen as the last counts as the same poll
	Direct    bool      // the unit itself says so: no damping on raising
	Details   Details
	// Explains lists the keys of alarms that are consequences of this one;
	// while this alarm is active or about to be raised they are kept silent.
	Explains []Key
}

// View is a site at one moment, as rules see it. Rules must not change it,
// apart from Memo.
type View struct {
	Now   time.Time
	Site  collector.Site
	Fleet *collector.Fleet
	Units []*UnitView // of the site, in the order of the fleet file
	// Active tells whether an alarm is raised at the moment, for hysteresis.
	Active func(Key) bool
	// Severity returns the severity that the rule gave a raised alarm last,
	// before any assignment, for hysteresis between severities; zero when the
	// alarm is not raised. Nil: not known.
	Severity func(Key) Severity
	// Since returns when an alarm that is raised at the moment was raised;
	// zero when it is not. Nil: not known.
	Since func(Key) time.Time
	// Memo is for rules that look at a site in the same way: what the first
	// of them has worked out from this view, the others need not.
	Memo any
	// Findings is what the diagnosis makes of this view; to the diagnosis itself,
	// what it made of the one before. They are shared: do not change them.
	Findings []Finding
	// Works are what people did at the site lately; for the diagnosis only.
	Works []Work
}

// UnitView is what is known of one unit.
type UnitView struct {
	Unit         collector.Unit
	Polled       time.Time // start of the last poll; zero: never polled
	LastSuccess  time.Time // zero: never
	Failures     int       // failed polls in a row
	Err          error     // of the last poll; nil: it answered
	StartedAt    time.Time // when its agent started, from its uptime; zero: unknown
	Baselined    bool      // an accepted baseline is in force
	Points       map[collector.Point]PointView
	FirstFailure time.Time // start of the first of Failures
	SupplyGone   time.Time // first reading in a row of polls that each told of a supply gone; zero: the last did not

	trends uint64 // version of the trends in Points
}

// Up tells whether the last poll was answered.
func (u *UnitView) Up() bool { return u.Err == nil && !u.Polled.IsZero() }

// PointView is what is known of one point: the last reading, which is only
// current while its unit is up, and its baseline.
type PointView struct {
	Reading   collector.Reading
	Baseline  *baseline.Level // nil: none accepted
	Deviation float64         // reading minus baseline at equal temperature; only with a baseline and a good reading
	Compared  bool            // Deviation is meaningful
	Past      Past            // how Deviation came about
	Daily     *Daily          // course over the day, of the quantities that have one

	Trend       *drift.Trend      // how it has changed over weeks and months; nil: not followed
	Laser       *drift.LaserTrend // of a laser bias: how it has aged; nil: not followed
	Forecasts   []Forecast        // when the limits are reached; only while it drifts
	Thermometer string            // id of the unit whose case temperature is taken out of Trend; empty: none
}

// Unit returns the view of a unit of the site, or nil.
func (v *View) Unit(id string) *UnitView {
	for _, u := range v.Units {
		if u.Unit.ID == id {
			return u
		}
	}
	return nil
}

// Good returns the value of a point when its unit is up and the reading good.
func (u *UnitView) Good(p collector.Point) (value float64, seen time.Time, ok bool) {
	if u == nil || !u.Up() {
		return 0, time.Time{}, false
	}
	pv, ok := u.Points[p]
	if !ok || pv.Reading.Quality != collector.Good {
		return 0, time.Time{}, false
	}
	return pv.Reading.Value, pv.Reading.Taken, true
}
