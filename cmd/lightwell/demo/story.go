package demo

import (
	"context"
	"fmt"
	"strings"
	"time"

	cloudevents "github.com/cloudevents/sdk-go/v2/event"

	"lightwell/alarms/baseline"
	"lightwell/alarms/notify"
	"lightwell/collector/plant"
)

// Sources of a printed line.
const (
	fromPlant   = "plant"
	fromWebhook = "webhook"
	fromUs      = "demo"
)

// tell prints an event of the plant.
func (d *Demo) tell(e plant.Event) {
	text := e.Text
	if text == "" {
		verb := "begins"
		if e.Over {
			verb = "is over"
		}
		text = fmt.Sprintf("%s at %s %s", e.Kind, e.On, verb)
	}
	d.cfg.Print(fromPlant, text)
}

// arrived prints a webhook.
func (d *Demo) arrived(e cloudevents.Event) {
	var a notify.Alarm
	if err := e.DataAs(&a); err != nil || a.Type == "" {
		d.cfg.Print(fromWebhook, e.Type())
		return
	}
	kind := strings.TrimPrefix(e.Type(), "lightwell.alarm.")
	text := fmt.Sprintf("%-8s %-8s %s at %s", kind, a.Severity, a.Type, a.Resource)
	if n := len(a.Impacted); n > 0 {
		text += fmt.Sprintf(", hurts %s", strings.Join(a.Impacted, " "))
	}
	d.cfg.Print(fromWebhook, text)
}

const (
	acceptEvery = 500 * time.Millisecond // captures are looked at
	patience    = 15 * time.Second       // after that a restless capture begins anew
)

// Commission captures and accepts the baseline of every unit that has none,
// as an engineer would on the first day, and returns when all have one or ctx
// ends.
func (d *Demo) Commission(ctx context.Context, book *baseline.Book) error {
	var open []string
	for _, u := range d.fleet.Units {
		if book.State(u.ID) != baseline.Accepted {
			open = append(open, u.ID)
		}
	}
	if len(open) == 0 {
		return nil
	}
	d.cfg.Print(fromUs, fmt.Sprintf("commissioning: collecting readings of %d units", len(open)))
	for len(open) > 0 && ctx.Err() == nil {
		var err error
		if open, err = acceptReady(ctx, book, open); err != nil {
			return err
		}
	}
	if ctx.Err() == nil {
		d.cfg.Print(fromUs, fmt.Sprintf("baselines of %d units are accepted: the fleet is healthy", len(d.fleet.Units)))
	}
	return nil
}

// acceptReady begins a capture of units, accepts each that becomes ready in
// time, and returns those that did not.
func acceptReady(ctx context.Context, book *baseline.Book, units []string) (left []string, err error) {
	if err := book.Begin(units, fromUs, time.Now()); err != nil {
		return nil, err
	}
	tick := time.NewTicker(acceptEvery)
	defer tick.Stop()
	enough := time.After(patience)
	for len(units) > 0 {
		select {
		case <-ctx.Done():
			return units, nil
		case <-enough:
			return units, nil
		case now := <-tick.C:
			var ready, waiting []string
			for _, u := range units {
				if book.Show(u, now).Ready {
					ready = append(ready, u)
				} else {
					waiting = append(waiting, u)
				}
			}
			units = waiting
			if len(ready) == 0 {
				continue
			}
			if err := book.Accept(ready, fromUs, "", false, now); err != nil {
				return nil, err
			}
		}
	}
	return nil, nil
}
