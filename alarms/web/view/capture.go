package view

import (
	"time"

	"lightwell/alarms/baseline"
	"lightwell/collector"
)

// Capture is how far the commissioning of a unit is.
type Capture struct {
	Unit     string          `json:"unit"`
	State    string          `json:"state" doc:"commissioning, capturing or accepted."`
	By       string          `json:"by,omitempty" doc:"Who began the capture."`
	Begun    time.Time       `json:"begun,omitzero"`
	Polls    int             `json:"polls"`
	Failed   int             `json:"failed_polls"`
	Ready    bool            `json:"ready" doc:"It can be accepted."`
	Reasons  []string        `json:"reasons,omitempty" doc:"Why it cannot."`
	Remarks  []string        `json:"remarks,omitempty" doc:"How it compares with the plan of the links."`
	Missing  []string        `json:"missing,omitempty" doc:"Points without any reading."`
	Seconds  float64         `json:"progress_seconds" doc:"Time that the scantiest point covers."`
	Points   []CapturedPoint `json:"points"`
	Learning *Learning       `json:"learning,omitempty" doc:"How far the baseline in force is; missing: none is."`
	Versions []Version       `json:"versions" doc:"Baselines accepted so far, oldest first."`
}

// CapturedPoint is what a capture knows of one point.
type CapturedPoint struct {
	Point    string          `json:"point"`
	Title    string          `json:"title"`
	Symbol   string          `json:"symbol,omitempty"`
	Level    baseline.Level  `json:"level"`
	Drift    float64         `json:"drift" doc:"Last third minus first third."`
	Stable   bool            `json:"stable"`
	Reason   string          `json:"reason,omitempty"`
	InForce  *baseline.Level `json:"in_force,omitempty"`
	Decimals int             `json:"-"`
}

// Version is one accepted baseline.
type Version struct {
	Version  int                       `json:"version"`
	Model    string                    `json:"model"`
	Accepted time.Time                 `json:"accepted"`
	By       string                    `json:"by"`
	Reason   string                    `json:"reason,omitempty"`
	Forced   bool                      `json:"forced,omitempty"`
	Findings []string                  `json:"findings,omitempty" doc:"What spoke against it when it was forced."`
	Remarks  []string                  `json:"remarks,omitempty" doc:"How it compared with the plan of the links."`
	Visit    string                    `json:"visit,omitempty" doc:"Visit in which it was accepted."`
	Levels   map[string]baseline.Level `json:"levels"`
	Refined  []Refined                 `json:"refined,omitempty" doc:"What was learnt of it afterwards; no accepted value has changed."`
}

// NewCapture makes the answer from what the book says of a unit.
func NewCapture(c baseline.Capture, history []baseline.Record, refinements []baseline.Refinement) Capture {
	v := Capture{
		Unit: c.Unit, State: c.State, By: c.By, Begun: c.Begun, Polls: c.Polls, Failed: c.Failed,
		Ready: c.Ready, Reasons: c.Reasons, Remarks: c.Remarks, Seconds: c.Progress.Seconds(), Points: []CapturedPoint{}, Versions: []Version{},
	}
	for _, p := range c.Missing {
		v.Missing = append(v.Missing, p.String())
	}
	for _, p := range c.Points {
		info, _ := p.Point.Quantity.Info()
		v.Points = append(v.Points, CapturedPoint{
			Point: p.Point.String(), Title: title(info, p.Point), Symbol: info.Unit, Level: p.Level, Drift: p.Drift,
			Stable: p.Stable, Reason: p.Reason, InForce: p.Accepted, Decimals: info.Decimals,
		})
	}
	for _, r := range history {
		v.Versions = append(v.Versions, Version{
			r.Version, r.Model, r.Accepted, r.By, r.Reason, r.Forced, r.Findings, r.Remarks, r.Visit, named(r.Levels), refinedOf(r.Version, refinements),
		})
	}
	v.Learning = newLearning(c.Learning)
	return v
}

// named returns levels by the names of their points.
func named(levels map[collector.Point]baseline.Level) map[string]baseline.Level {
	out := make(map[string]baseline.Level, len(levels))
	for p, l := range levels {
		out[p.String()] = l
	}
	return out
}

func title(info collector.QuantityInfo, p collector.Point) string {
	if p.Port == "" {
		return info.Title
	}
	return info.Title + " " + p.Port
}
