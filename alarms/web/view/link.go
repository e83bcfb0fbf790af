package view

import "slices"

// Link returns the link of that id.
func (b *Board) Link(id string) (Link, bool) {
	l, ok := b.Fleet.Link(id)
	if !ok {
		return Link{}, false
	}
	return b.link(l), true
}

// AtLink returns the alarms at a link, its units and cables, and those that
// impact it, most urgent first, those that have cleared too.
func (b *Board) AtLink(id string) []Alarm {
	l, ok := b.Fleet.Link(id)
	if !ok {
		return nil
	}
	at := []string{"link/" + id, "unit/" + l.Outdoor, "unit/" + l.Indoor, "cable/" + l.Downlink.Cable, "cable/" + l.Uplink.Cable}
	out := []Alarm{}
	for i := range b.Alarms {
		a := &b.Alarms[i]
		if slices.Contains(at, base(a.Resource)) || slices.Contains(a.Details.Impacted, at[0]) {
			out = append(out, b.alarm(a))
		}
	}
	slices.SortStableFunc(out, func(x, y Alarm) int { return byUrgency(&x.Alarm, &y.Alarm) })
	return out
}
