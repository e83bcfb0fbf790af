package state

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
)

// AppendBaselines adds versions of baselines, all or none, and never changes
// one that is stored. The same version again is no error; another one under
// its number is, and wraps ErrConflict.
func (s *Store) AppendBaselines(ctx context.Context, rows []BaselineRow) error {
	err := s.write(ctx, func(*heads) ([]statement, error) { return addBaselines(rows), nil })
	if err != nil && s.engine.taken(err) { // by these rows, or by others
		err = s.write(ctx, func(*heads) ([]statement, error) {
			missing, err := s.missing(ctx, rows)
			return addBaselines(missing), err
		})
	}
	if err != nil {
		return fmt.Errorf("store baselines: %w", err)
	}
	return nil
}

func addBaselines(rows []BaselineRow) []statement {
	out := make([]statement, len(rows))
	for i, r := range rows {
		r.By = clean(r.By)
		out[i] = statement{"INSERT INTO baselines (unit, version, accepted, accepted_by, body, checksum) VALUES ($1, $2, $3, $4, $5, $6)",
			[]any{r.Unit, int64(r.Version), stamp(r.Accepted), r.By, string(r.Body), r.checksum()}}
	}
	return out
}

// missing returns the rows that are not stored, and refuses those under whose
// number others are. It is for who has the turn to
// write.
func (s *Store) missing(ctx context.Context, rows []BaselineRow) (out []BaselineRow, err error) {
	for _, r := range rows {
		r.By = clean(r.By)
		var sum int64
		err := s.engine.writer().QueryRowContext(ctx, "SELECT checksum FROM baselines WHERE unit = $1 AND version = $2", r.Unit, int64(r.Version)).Scan(&sum)
		switch {
		case errors.Is(err, sql.ErrNoRows):
			out = append(out, r)
		case err != nil:
			return nil, err
		case sum != r.checksum():
			return nil, fmt.Errorf("version %d of unit %q: %w", r.Version, r.Unit, ErrConflict)
		}
	}
	return out, nil
}

// Baselines returns all versions of all units, in the order of unit and
// version.
func (s *Store) Baselines(ctx context.Context) ([]BaselineRow, error) {
	rows, err := collect(ctx, s, func(rows *sql.Rows) (r BaselineRow, err error) {
		var accepted, sum int64
		if err = rows.Scan(&r.Unit, &r.Version, &accepted, &r.By, &r.Body, &sum); err != nil {
			return r, err
		}
		r.Accepted = moment(accepted)
		return r, whole(sum, r.checksum(), "baseline %d of unit %s", r.Version, r.Unit)
	}, "SELECT unit, version, accepted, accepted_by, body, checksum FROM baselines ORDER BY unit, version")
	if err != nil {
		return nil, fmt.Errorf("read baselines: %w", err)
	}
	return rows, nil
}

// Save writes v, as JSON, as the document name, in place of the one before.
func (s *Store) Save(ctx context.Context, name string, v any) error {
	body, err := json.Marshal(v)
	if err == nil {
		err = s.write(ctx, func(*heads) ([]statement, error) {
			return []statement{Document{name, body}.put()}, nil
		})
	}
	if err != nil {
		return fmt.Errorf("store document %s: %w", name, err)
	}
	return nil
}

func (d Document) put() statement {
	return statement{`INSERT INTO documents (name, body, checksum) VALUES ($1, $2, $3)
		ON CONFLICT (name) DO UPDATE SET body = excluded.body, checksum = excluded.checksum`,
		[]any{d.Name, string(d.Body), checksum([]string{d.Name}, d.Body)}}
}

// Load reads the document name into v; found is false, and v untouched, when
// there is none.
func (s *Store) Load(ctx context.Context, name string, v any) (found bool, err error) {
	bodies, err := collect(ctx, s, func(rows *sql.Rows) (body []byte, err error) {
		var sum int64
		if err = rows.Scan(&body, &sum); err != nil {
			return nil, err
		}
		return body, whole(sum, checksum([]string{name}, body), "document %s", name)
	}, "SELECT body, checksum FROM documents WHERE name = $1", name)
	if err == nil && len(bodies) > 0 {
		err = json.Unmarshal(bodies[0], v)
	}
	if err != nil {
		return false, fmt.Errorf("read document %s: %w", name, err)
	}
	return len(bodies) > 0, nil
}
