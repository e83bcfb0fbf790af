package view

import (
	"fmt"
	"time"

	"lightwell/alarms/baseline"
)

// Learning is how far the baseline in force of a unit is.
type Learning struct {
	Phase  string        `json:"phase" doc:"Of the point that is least far: of the visit, provisional (a day) or final (two weeks)."`
	Points []LearntPoint `json:"points"`
}

// LearntPoint is what was learnt of a point since its baseline was accepted.
type LearntPoint struct {
	Point       string         `json:"point"`
	Title       string         `json:"title"`
	Phase       string         `json:"phase"`
	Hours       int            `json:"hours" doc:"Of the last two weeks that are known."`
	Level       baseline.Level `json:"level" doc:"In force; its value is the accepted one."`
	Temperature string         `json:"temperature,omitempty" doc:"Which temperature explains it, and by how much."`
	Reasons     []string       `json:"reasons,omitempty" doc:"Why it is not in the next phase yet."`
	Symbol      string         `json:"symbol,omitempty"`
	Decimals    int            `json:"-"`
}

// Refined is what was learnt of a version at one time.
type Refined struct {
	Time   time.Time                 `json:"time"`
	Levels map[string]baseline.Level `json:"levels" doc:"Those that changed."`
}

func refinedOf(version int, all []baseline.Refinement) (out []Refined) {
	for _, r := range all {
		if r.Version == version {
			out = append(out, Refined{r.At, named(r.Levels)})
		}
	}
	return out
}

func newLearning(l *baseline.Learning) *Learning {
	if l == nil {
		return nil
	}
	out := &Learning{Phase: l.Phase.Title(), Points: []LearntPoint{}}
	for _, p := range l.Points {
		info, _ := p.Point.Quantity.Info()
		out.Points = append(out.Points, LearntPoint{
			Point: p.Point.String(), Title: title(info, p.Point), Phase: p.Phase.Title(), Hours: p.Hours, Level: p.Level,
			Temperature: follows(p.Level, baseline.Difference(info.Unit)), Reasons: p.Reasons, Symbol: info.Unit, Decimals: max(info.Decimals, 2),
		})
	}
	return out
}

// follows says which temperature explains a point, how much, and how sure.
func follows(l baseline.Level, unit string) string {
	if l.Phase == baseline.Visit {
		return ""
	}
	size := fmt.Sprintf("%+.3f ±%.3f %s/°C over %.0f °C", l.TempCoeff, 2*l.TempCoeffSE, unit, l.TempSpanC)
	switch {
	case l.TempSource == "":
		return "none is known to explain it"
	case l.TempUnit == "":
		return "follows its own case, " + size
	}
	return fmt.Sprintf("follows the case of %s (%s), %s", l.TempUnit, l.TempSource, size)
}
