package visit

import (
	"context"
	"fmt"
	"time"

	"go.uber.org/zap"

	"lightwell/alarms"
)

// tick is how late a visit may be ended by itself, or settled.
const tick = 15 * time.Second

// nobody is who ends a visit that was forgotten.
var nobody = Actor{Name: "daemon"}

// Run ends visits that were forgotten, and reads the levels after those that
// have ended, until ctx ends.
func (b *Book) Run(ctx context.Context) error {
	ticker := time.NewTicker(tick)
	defer ticker.Stop()
	for {
		b.Keep(ctx, time.Now())
		select {
		case <-ctx.Done():
			return nil
		case <-ticker.C:
		}
	}
}

// Keep does what is due at now. Run calls it.
func (b *Book) Keep(ctx context.Context, now time.Time) {
	now = utc(now)
	for _, v := range *b.recent.Load() {
		var err error
		switch {
		case v.State == Open && !now.Before(v.Until):
			err = b.forget(ctx, v.ID, now)
		case v.State == Settling && b.settled(v, now):
			err = b.settle(ctx, v.ID, now)
		}
		if err != nil {
			b.cfg.Log.Error("keep visit; will try again", zap.String("visit", v.ID), zap.Error(err))
		}
	}
}

// forget ends a visit that nobody has ended, as of its limit.
func (b *Book) forget(ctx context.Context, id string, now time.Time) error {
	b.writing.Lock()
	defer b.writing.Unlock()
	v, err := b.cfg.Store.Visit(id)
	if err != nil || v.State != Open {
		return err
	}
	v.State, v.Ended, v.Forgotten = Settling, v.Until, true
	v.After = b.levels(ctx, v.Site, v.Ended, v.Ended, v.Begun)
	v.AlarmsAfter = noted(b.cfg.Alarms(v.Site))
	text := fmt.Sprintf("visit %s by %s was not ended by anybody within %s: it ended by itself at %s, and alarms at %s speak again", v.ID, v.By, v.Until.Sub(v.Begun), stamp(v.Until), v.Site)
	if err := b.put(v, nobody, "visit-forgotten", text, now); err != nil {
		return err
	}
	b.tell(&v, now, alarms.EventVisitForgotten, text)
	return nil
}

// settled tells whether the levels after a visit can be read: each unit has
// answered since, or is not waited for any longer.
func (b *Book) settled(v *Visit, now time.Time) bool {
	since := now.Sub(v.Ended)
	return since >= settleLimit || since >= settleTime && answered(b.cfg.Units(v.Site), v.Ended)
}

// settle takes the levels after a visit for good.
func (b *Book) settle(ctx context.Context, id string, now time.Time) error {
	v, err := b.cfg.Store.Visit(id)
	if err != nil {
		return err
	}
	v.After = b.levels(ctx, v.Site, v.Ended, earlier(now, v.Ended.Add(settleLimit)), v.Ended)
	v.AlarmsAfter = noted(b.cfg.Alarms(v.Site))
	b.writing.Lock()
	defer b.writing.Unlock()
	if was, err := b.cfg.Store.Visit(id); err != nil || was.State != Settling {
		return err
	}
	v.State = Closed
	p := b.proof(v, now)
	if err := b.put(v, nobody, "visit-closed", fmt.Sprintf("%s: %s", v.ID, p.Conclusion), now); err != nil {
		return err
	}
	b.cfg.Closed(p)
	return nil
}
