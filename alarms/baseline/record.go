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
}

// A shelf is all records and what is in force of them; it does not change
// after it is made, so that readers need no lock and no copy.
type shelf struct {
	records map[string][]Record                  // by unit, oldest first
	inForce map[string]map[collector.Point]Level // by unit
}

// newShelf sorts records by unit. The newest of a unit is in force while the
// fleet's unit is of the model it was captured on.
func newShelf(records []Record, fleet *collector.Fleet) *shelf {
	s := &shelf{map[string][]Record{}, map[string]map[collector.Point]Level{}}
	for _, r := range records {
		s.records[r.Unit] = append(s.records[r.Unit], r)
	}
	if fleet == nil {
		return s
	}
	for id, of := range s.records {
		newest := of[len(of)-1]
		if u, ok := fleet.Unit(id); ok && u.Equipment.Model == newest.Model {
			s.inForce[id] = newest.Levels
		}
	}
	return s
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
