package brief

import (
	"context"
	"fmt"
	"time"

	"lightwell/alarms/chart"
	"lightwell/alarms/visit"
)

// A Picture is how the light of one direction of a link has been.
type Picture struct {
	Of   *chart.Trend
	Says string // for those who cannot see it
}

// Picture draws one direction of a link over the last time back, or since
// its receiver was commissioned when back is 0.
func (w *Writer) Picture(ctx context.Context, link, direction string, back time.Duration, now time.Time) (*Picture, error) {
	l, s, err := w.sceneOf(link, now)
	if err != nil {
		return nil, err
	}
	for _, f := range s.fleet.Fibres(l) {
		if f.Name != direction {
			continue
		}
		from := w.commissioned(f.To.Unit, now)
		if begin := now.Add(-back); back > 0 {
			from = begin
		}
		b := &Brief{Site: s.site.ID, scene: s}
		if w.s.Visits != nil {
			if b.Visits, err = w.s.Visits(visit.Filter{Site: s.site.ID, Limit: 100}); err != nil {
				return nil, fmt.Errorf("picture of link %q: %w", link, err)
			}
		}
		t := w.trend(b, l, f, w.readFrom(ctx, s, f.To.Unit, from))
		return &Picture{t, says(t)}, nil
	}
	return nil, fmt.Errorf("direction %q of link %q: %w", direction, link, ErrUnknown)
}
