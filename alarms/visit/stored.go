package visit

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"lightwell/collector/state"
)

// readTimeout bounds one question to the state.
const readTimeout = 30 * time.Second

// Stored is a Store over the state of the daemon.
type Stored struct {
	State *state.Store
	Write func(func(context.Context) error) error // runs one write within its time
}

var _ Store = Stored{}

// levels is what is stored apart.
type levels struct {
	Before []Level `json:"before"`
	After  []Level `json:"after,omitempty"`
}

// Put implements Store.
func (s Stored) Put(v Visit, line state.AuditRow) error {
	body, err := json.Marshal(v)
	if err != nil {
		return fmt.Errorf("encode visit %s: %w", v.ID, err)
	}
	read, err := json.Marshal(levels{v.Before, v.After})
	if err != nil {
		return fmt.Errorf("encode levels of visit %s: %w", v.ID, err)
	}
	row := state.VisitRow{Number: v.number, Site: v.Site, State: string(v.State), Begun: v.Begun, Ended: v.Ended, Body: body, Levels: read}
	return s.Write(func(ctx context.Context) error { return s.State.PutVisit(ctx, row, line) })
}

// Visit implements Store.
func (s Stored) Visit(id string) (Visit, error) {
	ctx, cancel := context.WithTimeout(context.Background(), readTimeout)
	defer cancel()
	number, ok := parseID(id)
	if !ok {
		return Visit{}, fmt.Errorf("%w: %q", ErrUnknown, id)
	}
	row, found, err := s.State.Visit(ctx, number)
	switch {
	case err != nil:
		return Visit{}, err
	case !found:
		return Visit{}, fmt.Errorf("%w: %q", ErrUnknown, id)
	}
	v, err := decode(row)
	if err != nil {
		return Visit{}, err
	}
	var read levels
	if err := json.Unmarshal(row.Levels, &read); err != nil {
		return Visit{}, fmt.Errorf("read levels of visit %s: %w", id, err)
	}
	v.Before, v.After = read.Before, read.After
	return v, nil
}

// List implements Store.
func (s Stored) List(f Filter) ([]Visit, error) {
	ctx, cancel := context.WithTimeout(context.Background(), readTimeout)
	defer cancel()
	filter := state.VisitFilter{Site: f.Site, Since: f.Since, Limit: f.Limit}
	if f.Going {
		filter.Not = string(Closed)
	}
	if f.Before != "" {
		var ok bool
		if filter.Before, ok = parseID(f.Before); !ok {
			return nil, fmt.Errorf("%w: %q", ErrUnknown, f.Before)
		}
	}
	rows, err := s.State.Visits(ctx, filter)
	if err != nil {
		return nil, err
	}
	out := make([]Visit, len(rows))
	for i, r := range rows {
		if out[i], err = decode(r); err != nil {
			return nil, err
		}
	}
	return out, nil
}

func decode(row state.VisitRow) (Visit, error) {
	v := Visit{number: row.Number}
	if err := json.Unmarshal(row.Body, &v); err != nil {
		return v, fmt.Errorf("read visit %d: %w", row.Number, err)
	}
	v.ID = idOf(row.Number)
	return v, nil
}
