package baseline

import "lightwell/collector"

// Levels tells what a point read in the capture under way, else what its
// baseline in force says; false where there is neither.
type Levels func(unit string, p collector.Point) (Level, bool)

// A Remark is what the comparison of a capture with the plan has to say.
type Remark struct {
	Text  string
	Grave bool // the capture is not ready because of it
}

// A PlanCheck compares what a unit reads at commissioning with the plan of its
// links. Pure.
type PlanCheck func(f *collector.Fleet, unit string, levels Levels) []Remark

// compare adds to a capture what the comparison with the plan says. A baseline
// that is bad from the first day must not become normal unnoticed: what is
// grave needs force and a reason, and all of it stays in the record.
func (b *Book) compare(c *Capture) {
	if b.cfg.Plan == nil {
		return
	}
	for _, r := range b.cfg.Plan(b.fleet, c.Unit, b.level) {
		if c.Remarks = append(c.Remarks, r.Text); r.Grave {
			c.Reasons, c.Ready = append(c.Reasons, r.Text), false
		}
	}
}

// level is Levels; b.mu is held.
func (b *Book) level(unit string, p collector.Point) (Level, bool) {
	if c := b.captures[unit]; c != nil {
		if r := c.points[p]; r != nil {
			info, _ := p.Quantity.Info()
			return judgePoint(p, info, r, b.cfg).Level, true
		}
	}
	inForce, _ := b.Levels(unit)
	l, ok := inForce[p]
	return l, ok
}
