package visit

import (
	"math"
	"slices"

	"lightwell/collector"
)

// Verdict says what became of a point over a visit.
type Verdict string

// Verdicts.
const (
	Same     Verdict = "same" // not told from noise
	Better   Verdict = "better"
	Worse    Verdict = "worse"
	Moved    Verdict = "moved"          // changed, and neither way is bad
	Appeared Verdict = "appeared"       // was not read before
	Gone     Verdict = "no longer read" // was read before
)

// A Line compares one point before and after a visit.
type Line struct {
	Unit        string          `json:"unit"`
	Point       collector.Point `json:"point"`
	Title       string          `json:"title"`
	Symbol      string          `json:"symbol,omitempty" doc:"Unit of the numbers."`
	Decimals    int             `json:"-"`
	Before      *float64        `json:"before,omitempty" doc:"Median; missing where it is a state or was not read."`
	After       *float64        `json:"after,omitempty"`
	BeforeState string          `json:"before_state,omitempty"`
	AfterState  string          `json:"after_state,omitempty"`
	BeforeCount int             `json:"before_readings"`
	AfterCount  int             `json:"after_readings"`
	Change      *float64        `json:"change,omitempty"`
	Noise       float64         `json:"noise" doc:"A change up to this may be noise."`
	Baseline    *float64        `json:"baseline,omitempty" doc:"In force after the visit."`
	Off         bool            `json:"off_baseline" doc:"After the visit it differs from its baseline by more than noise."`
	Verdict     Verdict         `json:"verdict"`
}

// Compare sets the levels before and after against each other, in the order of
// units and points.
func Compare(before, after []Level) []Line {
	type pair struct{ before, after *Level }
	pairs := map[string]*pair{}
	var order []Level
	of := func(l *Level) *pair {
		key := l.Unit + "\x00" + l.Point.String()
		if pairs[key] == nil {
			pairs[key] = &pair{}
			order = append(order, *l)
		}
		return pairs[key]
	}
	for i := range before {
		of(&before[i]).before = &before[i]
	}
	for i := range after {
		of(&after[i]).after = &after[i]
	}
	slices.SortFunc(order, compareLevels)
	out := make([]Line, 0, len(order))
	for i := range order {
		p := of(&order[i])
		out = append(out, compare(order[i].Unit, order[i].Point, p.before, p.after))
	}
	return out
}

func compare(unit string, point collector.Point, before, after *Level) Line {
	info, _ := point.Quantity.Info()
	l := Line{Unit: unit, Point: point, Title: info.Title, Symbol: info.Unit, Decimals: max(info.Decimals, 2), Verdict: Same}
	if before != nil {
		l.Before, l.BeforeState, l.BeforeCount = shown(before, info)
	}
	if after != nil {
		l.After, l.AfterState, l.AfterCount = shown(after, info)
		l.Baseline = after.Baseline
	}
	switch {
	case before == nil:
		l.Verdict = Appeared
	case after == nil:
		l.Verdict = Gone
	case info.States != nil:
		l.Verdict = stateVerdict(info, before.Value, after.Value)
	default:
		change := after.Value - before.Value
		l.Change = &change
		l.Noise = max(least(info, before.Value), 4*math.Hypot(before.stdErr(), after.stdErr()))
		l.Verdict = sizeVerdict(info, before.Value, after, change, l.Noise)
	}
	if after != nil && after.Baseline != nil {
		l.Off = math.Abs(after.Value-*after.Baseline) > max(least(info, *after.Baseline), 4*after.stdErr())
	}
	return l
}

func shown(l *Level, info collector.QuantityInfo) (number *float64, state string, count int) {
	if info.States != nil {
		return nil, info.Quantity.StateName(l.Value), l.Count
	}
	v := l.Value
	return &v, "", l.Count
}

func stateVerdict(info collector.QuantityInfo, before, after float64) Verdict {
	switch {
	case before == after:
		return Same
	case info.Bad != collector.BadState:
		return Moved
	case after == 0: // the first state is the good one
		return Better
	}
	return Worse
}

func sizeVerdict(info collector.QuantityInfo, before float64, after *Level, change, noise float64) Verdict {
	if math.Abs(change) <= noise {
		return Same
	}
	switch {
	case info.Bad == collector.BadLow && change > 0, info.Bad == collector.BadHigh && change < 0:
		return Better
	case info.Bad == collector.BadLow, info.Bad == collector.BadHigh:
		return Worse
	case info.Bad == collector.BadEither && after.Baseline != nil:
		if math.Abs(after.Value-*after.Baseline) < math.Abs(before-*after.Baseline) {
			return Better
		}
		return Worse
	}
	return Moved
}

// least is the smallest change that counts, whatever the noise. An optical
// monitor repeats to 0.1 to 0.3 dB, and what comes in at an antenna wanders by
// a decibel within an hour (common practice); currents and voltages count from
// a fiftieth on.
func least(info collector.QuantityInfo, value float64) float64 {
	switch info.Quantity {
	case collector.OpticalReceivePower, collector.OpticalTransmitPower:
		return 0.3
	}
	switch info.Unit {
	case "dB", "dBm", "dBm/Hz":
		return 1
	}
	return 0.02 * math.Abs(value)
}
