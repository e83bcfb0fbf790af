package baseline

import (
	"errors"
	"maps"
	"slices"
	"time"

	"lightwell/collector"
)

// A Record is one accepted version of a unit's baseline. It never changes.
type Record struct {
	Unit     string                    `json:"unit"`
	Version  int                       `json:"version"` // 1 is the first; kept for ever, like all that follow
	Model    string                    `json:"model"`   // equipment it was captured on
	Begun    time.Time                 `json:"begun"`
	Accepted time.Time                 `json:"accepted"`
	By       string                    `json:"by"`
	Reason   string                    `json:"reason,omitempty"`
	Visit    string                    `json:"visit,omitempty"` // that it was accepted in; needed from the second version on
	Forced   bool                      `json:"forced,omitempty"`
	Findings []string                  `json:"findings,omitempty"` // what spoke against it when it was forced
	Remarks  []string                  `json:"remarks,omitempty"`  // what the comparison with the plan said
	Levels   map[collector.Point]Level `json:"levels"`
}

// Errors that a refusal wraps. Its text names the unit and the remedy.
var (
	ErrUnknownUnit = errors.New("not in the fleet")
	ErrNotBegun    = errors.New("no capture begun")
	ErrNoSamples   = errors.New("nothing collected yet")
	ErrNotReady    = errors.New("capture is not ready")
	ErrNoReason    = errors.New("a reason is missing")
	ErrNoVisit     = errors.New("no visit is recorded")
	ErrNoName      = errors.New("the name of who does it is missing")
	ErrNoUnits     = errors.New("no unit named")
	ErrNotStored   = errors.New("the state cannot be written now, so nothing was accepted: try again when it can")
)

// A Store keeps records for ever.
type Store interface {
	// Append adds records, all or none. A version that a unit has already is
	// an error.
	Append(records []Record) error
	// Records returns all of them, those of a unit in the order of their
	// versions.
	Records() ([]Record, error)
	// SaveRefinements keeps all that was learnt of the stored records of
	// units, oldest first, all or none.
	SaveRefinements(units map[string][]Refinement) error
	// Refinements returns all of them, those of a unit oldest first.
	Refinements() ([]Refinement, error)
	// SaveProgress keeps work under way, by unit, in place of what was kept
	// before; nil forgets it.
	SaveProgress(progress map[string][]byte) error
	// Progress returns it.
	Progress() (map[string][]byte, error)
}

// Visits tells of the visits that are recorded.
type Visits interface {
	// Visited returns the visit at a site that is under way, or one that has
	// ended not long ago.
	Visited(site string, now time.Time) (id string, ok bool)
}

// Work tells of planned work.
type Work interface {
	// During returns the work that is under way at now at one of resources.
	During(resources []string, now time.Time) (collector.PlannedWork, bool)
}

// makeRecord turns a capture that was judged into a record. Dark points get no
// level, even when forced: no light is not a level to compare with.
func makeRecord(c Capture, u collector.Unit, version int, by, reason string, force bool, now time.Time) Record {
	r := Record{
		Unit: u.ID, Version: version, Model: u.Equipment.Model,
		Begun: c.Begun, Accepted: now, By: by, Reason: reason, Remarks: c.Remarks, Levels: map[collector.Point]Level{},
	}
	if !c.Ready && force {
		r.Forced, r.Findings = true, c.Reasons
	}
	for _, p := range c.Points {
		if !Dark(p.Point.Quantity, p.Level.Value) {
			r.Levels[p.Point] = p.Level
		}
	}
	return r
}

// copies returns records that share nothing with rs.
func copies(rs []Record) []Record {
	out := slices.Clone(rs)
	for i := range out {
		out[i].Findings = slices.Clone(out[i].Findings)
		out[i].Remarks = slices.Clone(out[i].Remarks)
		out[i].Levels = maps.Clone(out[i].Levels)
	}
	return out
}
