package daemon

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"go.uber.org/zap"

	"lightwell/alarms/baseline"
	"lightwell/collector/state"
)

// Names of documents in the state; the id of the unit follows.
const (
	refinedDocuments  = "baseline-refined/"
	progressDocuments = "baseline-progress/"
)

// baselines is a baseline.Store over the state.
type baselines struct{ *keeper }

var _ baseline.Store = baselines{}

// Append implements baseline.Store.
func (b baselines) Append(records []baseline.Record) error {
	rows := make([]state.BaselineRow, len(records))
	for i, r := range records {
		body, err := json.Marshal(r)
		if err != nil {
			return fmt.Errorf("encode baseline of unit %q: %w", r.Unit, err)
		}
		rows[i] = state.BaselineRow{Unit: r.Unit, Version: r.Version, Accepted: r.Accepted, By: r.By, Body: body}
	}
	return b.write(func(ctx context.Context) error { return b.store.AppendBaselines(ctx, rows) })
}

// Records implements baseline.Store.
func (b baselines) Records() ([]baseline.Record, error) {
	ctx, cancel := context.WithTimeout(context.Background(), readTimeout)
	defer cancel()
	rows, err := b.store.Baselines(ctx)
	if err != nil {
		return nil, err
	}
	out := make([]baseline.Record, len(rows))
	for i, r := range rows {
		if err := json.Unmarshal(r.Body, &out[i]); err != nil {
			return nil, fmt.Errorf("read baseline %d of unit %q: %w", r.Version, r.Unit, err)
		}
	}
	return out, nil
}

// SaveRefinements implements baseline.Store.
func (b baselines) SaveRefinements(units map[string][]baseline.Refinement) error {
	documents := make(map[string]json.RawMessage, len(units))
	for unit, of := range units {
		body, err := json.Marshal(of)
		if err != nil {
			return fmt.Errorf("encode refinements of unit %q: %w", unit, err)
		}
		documents[refinedDocuments+unit] = body
	}
	return b.write(func(ctx context.Context) error { return b.store.SaveAll(ctx, documents) })
}

// Refinements implements baseline.Store.
func (b baselines) Refinements() (out []baseline.Refinement, err error) {
	documents, err := b.documents(refinedDocuments)
	if err != nil {
		return nil, err
	}
	for unit, body := range documents {
		var of []baseline.Refinement
		if err := json.Unmarshal(body, &of); err != nil {
			return nil, fmt.Errorf("read refinements of unit %q: %w", unit, err)
		}
		out = append(out, of...)
	}
	return out, nil
}

// SaveProgress implements baseline.Store.
func (b baselines) SaveProgress(progress map[string][]byte) error {
	documents := make(map[string]json.RawMessage, len(progress))
	for unit, body := range progress {
		documents[progressDocuments+unit] = body
	}
	return b.write(func(ctx context.Context) error { return b.store.SaveAll(ctx, documents) })
}

// Progress implements baseline.Store.
func (b baselines) Progress() (map[string][]byte, error) {
	documents, err := b.documents(progressDocuments)
	out := make(map[string][]byte, len(documents))
	for unit, body := range documents {
		out[unit] = body
	}
	return out, err
}

func (b baselines) documents(prefix string) (map[string]json.RawMessage, error) {
	ctx, cancel := context.WithTimeout(context.Background(), readTimeout)
	defer cancel()
	return b.store.Documents(ctx, prefix)
}

// learnInterval is how often the book of baselines is kept.
const learnInterval = time.Minute

// learn has the book judge and store what it has learnt, until ctx ends.
func (d *Daemon) learn(ctx context.Context) error {
	tick := time.NewTicker(learnInterval)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			d.keepBook(true)
			return nil
		case <-tick.C:
			d.keepBook(false)
		}
	}
}

func (d *Daemon) keepBook(all bool) {
	made, err := d.book.Keep(time.Now(), all)
	if err != nil {
		d.log.Warn("what is learnt of baselines is not stored", zap.Error(err))
	}
	for _, r := range made {
		for p, level := range r.Levels {
			d.log.Info("baseline refined", zap.String("unit", r.Unit), zap.Stringer("point", p), zap.String("phase", level.Phase.Title()))
		}
		d.keep.Record(state.AuditRow{
			Time: r.At, Who: system, What: lineRefined,
			Detail: fmt.Sprintf("unit/%s: version %d, %d points; no accepted value has changed", r.Unit, r.Version, len(r.Levels)),
		})
	}
}
