package baseline

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"lightwell/alarms/statistic"
	"lightwell/collector"
)

// NoLightDBm is the optical power at and below which a fibre counts as dark.
// An analogue link works above -20 dBm; the smallest step of an SFF-8472
// receiver, 0.1 µW, reads -40 dBm.
const NoLightDBm = -30

// A Capture is what a running capture holds and whether it may be accepted.
type Capture struct {
	Unit     string            `json:"unit"`
	State    string            `json:"state"` // Commissioning, Capturing or Accepted
	By       string            `json:"by,omitempty"`
	Begun    time.Time         `json:"begun,omitzero"`
	Polls    int               `json:"polls"`
	Failed   int               `json:"failed_polls"`
	Points   []PointCapture    `json:"points"`            // expected points with at least one reading, in the order of the model
	Missing  []collector.Point `json:"missing,omitempty"` // expected points without any reading
	Ready    bool              `json:"ready"`
	Reasons  []string          `json:"reasons,omitempty"`  // why not ready, for people
	Remarks  []string          `json:"remarks,omitempty"`  // what the comparison with the plan says, grave or not
	Progress time.Duration     `json:"progress"`           // time that the scantiest point covers
	Learning *Learning         `json:"learning,omitempty"` // how far the levels in force are; nil: none is in force
}

// PointCapture is what a capture knows of one point.
type PointCapture struct {
	Point    collector.Point `json:"point"`
	Level    Level           `json:"level"`
	Min      float64         `json:"min"`
	Max      float64         `json:"max"`
	Drift    float64         `json:"drift"` // last third minus first third
	Stable   bool            `json:"stable"`
	Reason   string          `json:"reason,omitempty"`   // why not stable
	Accepted *Level          `json:"accepted,omitempty"` // the baseline in force, to compare with

	span time.Duration
}

// judge looks at what c has collected of unit u, which is an end of so many
// links.
func judge(c *capture, u collector.Unit, links int, accepted map[collector.Point]Level, cfg Config, now time.Time) Capture {
	out := Capture{Unit: u.ID, State: Capturing, By: c.by, Begun: c.begun, Polls: c.polls, Failed: c.failed}
	temp := c.temperature()
	for _, p := range u.Equipment.Points {
		info, ok := p.Quantity.Info()
		if !ok || !info.Compared || spare(u, p, links) {
			continue
		}
		r := c.points[p]
		if r == nil {
			out.Missing = append(out.Missing, p)
			continue
		}
		pc := judgePoint(p, info, r, cfg)
		pc.Level.TempRefC, pc.Level.CapturedAt = temp, now
		if l, ok := accepted[p]; ok {
			pc.Accepted = &l
		}
		out.Points = append(out.Points, pc)
	}
	out.Reasons = reasons(c, &out, cfg)
	out.Ready = len(out.Reasons) == 0
	return out
}

// spare tells whether p is a receiver that no fibre ends at: links take the
// ports of a unit in their order.
func spare(u collector.Unit, p collector.Point, links int) bool {
	if p.Quantity != collector.OpticalReceivePower || links == 0 {
		return false
	}
	before := 0
	for _, q := range u.Equipment.Points {
		if q.Quantity == p.Quantity && q.Port < p.Port {
			before++
		}
	}
	return before >= links
}

func judgePoint(p collector.Point, info collector.QuantityInfo, r *ring, cfg Config) PointCapture {
	values, span := r.values()
	sorted := slices.Sorted(slices.Values(values))
	driftMax, rangeMax, coarsest := cfg.tolerance(info, sorted[len(sorted)/2])
	q := statistic.Quantum(sorted)
	if q > coarsest {
		q = 0
	}
	centre := statistic.Median(sorted, q)
	sigma := spread(sorted, centre, q)
	out := PointCapture{
		Point: p, span: span, Min: sorted[0], Max: sorted[len(sorted)-1],
		Level: Level{Value: centre, Spread: sigma, Quantum: q, Samples: len(values)},
	}
	var stderr float64
	out.Drift, stderr = thirds(values, q)
	driftMax = max(driftMax, q, 4*stderr)
	rangeMax = max(rangeMax, 4*q, 8*sigma)
	in := func(unit string) func(float64) string {
		return func(v float64) string { return fmt.Sprintf("%.*f %s", max(info.Decimals, 2), v, unit) }
	}
	value, size := in(info.Unit), in(Difference(info.Unit))
	switch {
	case Dark(p.Quantity, centre):
		out.Reason = fmt.Sprintf("no light (%s): connect the fibre, or find out why it is dark, first", value(centre))
	case math.Abs(out.Drift) > driftMax:
		out.Reason = fmt.Sprintf("drifts: the last third is %s off the first, %s is allowed: wait until the unit is warm and nobody touches the fibre", size(out.Drift), size(driftMax))
	case out.Max-out.Min > rangeMax:
		out.Reason = fmt.Sprintf("jumps between %s and %s, a span of %s is allowed: look for a loose connector, then begin anew", value(out.Min), value(out.Max), size(rangeMax))
	default:
		out.Stable = true
	}
	return out
}

// Difference returns the unit of a difference of two values in unit.
func Difference(unit string) string {
	if strings.HasPrefix(unit, "dBm") {
		return "dB"
	}
	return unit
}

// Dark tells whether a value of q means that no light is there; only optical
// power can be dark.
func Dark(q collector.Quantity, value float64) bool {
	return (q == collector.OpticalReceivePower || q == collector.OpticalTransmitPower) && value <= NoLightDBm
}

// reasons says in plain words what keeps a capture from being accepted, and
// fills in its progress.
func reasons(c *capture, out *Capture, cfg Config) []string {
	var say []string
	tell := func(format string, args ...any) { say = append(say, fmt.Sprintf(format, args...)) }
	switch {
	case c.polls == 0 && c.failed > 0:
		tell("the unit has not answered any of %d polls: see that it can be read", c.failed)
		return say
	case c.polls == 0 && c.restarted:
		tell("the unit restarted: wait for the next polls")
		return say
	case c.polls == 0:
		tell("no poll yet: wait for the next one")
		return say
	case len(out.Points) == 0 && len(out.Missing) == 0:
		tell("the model has no point that is compared: this unit needs no baseline")
		return say
	}
	if len(out.Missing) > 0 {
		names := make([]string, len(out.Missing))
		for i, p := range out.Missing {
			names[i] = p.String()
		}
		tell("no reading of %s: see why the unit does not give it, or whether the model fits the unit", strings.Join(names, ", "))
	}
	if len(out.Points) > 0 {
		fewest := slices.MinFunc(out.Points, func(a, b PointCapture) int { return cmp.Compare(a.Level.Samples, b.Level.Samples) })
		if n := fewest.Level.Samples; n < cfg.MinSamples {
			tell("%s has %d readings, %d are needed: wait", fewest.Point, n, cfg.MinSamples)
		}
		shortest := slices.MinFunc(out.Points, func(a, b PointCapture) int { return cmp.Compare(a.span, b.span) })
		if out.Progress = shortest.span; out.Progress < cfg.MinTime {
			tell("the readings of %s cover %v, %v are needed: wait", shortest.Point, out.Progress.Round(time.Second), cfg.MinTime)
		}
	}
	for _, p := range out.Points {
		if !p.Stable {
			tell("%s %s", p.Point, p.Reason)
		}
	}
	return say
}
