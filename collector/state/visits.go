package state

import (
	"bytes"
	"context"
	"database/sql"
	"fmt"
	"time"
)

// A VisitRow is one visit to a site. The next one of its number takes its
// place.
type VisitRow struct {
	Number int64 // above zero
	Site   string
	State  string
	Begun  time.Time
	Ended  time.Time // zero: not yet
	Body   []byte    // JSON
	Levels []byte    // JSON; not filled in a list
}

func (r VisitRow) checksum() int64 {
	return checksum([]string{r.Site, r.State}, r.Body, r.Number, stamp(r.Begun), stamp(r.Ended))
}

func (r VisitRow) levelsSum() int64 { return checksum(nil, r.Levels, r.Number) }

// A VisitFilter chooses visits. The zero VisitFilter passes all.
type VisitFilter struct {
	Site   string    // empty: any
	Not    string    // a state that is not wanted; empty: any is
	Since  time.Time // begun then or later; zero: any time
	Before int64     // numbers below this one; 0: any
	Limit  int       // at most so many; 0: DefaultLimit
}

const putVisit = `INSERT INTO visits (number, site, state, begun, ended, body, checksum, levels, levels_sum) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)
	ON CONFLICT (number) DO UPDATE SET site = excluded.site, state = excluded.state, begun = excluded.begun, ended = excluded.ended,
		body = excluded.body, checksum = excluded.checksum, levels = excluded.levels, levels_sum = excluded.levels_sum`

// PutVisit stores a visit and adds the line that tells of it to the log, both
// or neither.
func (s *Store) PutVisit(ctx context.Context, r VisitRow, line AuditRow) error {
	var tried uint64 // entry of an attempt whose outcome is unknown
	err := s.write(ctx, func(h *heads) ([]statement, error) {
		if tried > 0 && uint64(h.entry) >= tried {
			return nil, nil // nobody else writes: it is this line, and the visit with it
		}
		add := h.change(line.row())
		tried = uint64(h.entry)
		return []statement{{putVisit, []any{r.Number, r.Site, r.State, stamp(r.Begun), stamp(r.Ended), string(r.Body), r.checksum(), string(r.Levels), r.levelsSum()}}, add}, nil
	})
	if err != nil {
		return fmt.Errorf("store visit %d: %w", r.Number, err)
	}
	return nil
}

// Visit returns a visit with its levels; found is false when there is none of
// that number.
func (s *Store) Visit(ctx context.Context, number int64) (r VisitRow, found bool, err error) {
	rows, err := collect(ctx, s, func(rows *sql.Rows) (r VisitRow, err error) {
		var levels []byte
		var levelsSum int64
		if r, err = scanVisit(rows, &levels, &levelsSum); err != nil {
			return r, err
		}
		r.Levels = levels
		return r, whole(levelsSum, r.levelsSum(), "levels of visit %d", r.Number)
	}, "SELECT number, site, state, begun, ended, body, checksum, levels, levels_sum FROM visits WHERE number = $1", number)
	if err != nil || len(rows) == 0 {
		if err != nil {
			err = fmt.Errorf("read visit %d: %w", number, err)
		}
		return VisitRow{}, false, err
	}
	return rows[0], true, nil
}

// Visits returns visits without their levels, newest number first.
func (s *Store) Visits(ctx context.Context, f VisitFilter) ([]VisitRow, error) {
	query := bytes.NewBufferString("SELECT number, site, state, begun, ended, body, checksum FROM visits WHERE 1 = 1")
	var args []any
	where := func(set bool, condition string, arg any) {
		if set {
			args = append(args, arg)
			fmt.Fprintf(query, " AND %s $%d", condition, len(args))
		}
	}
	where(f.Site != "", "site =", f.Site)
	where(f.Not != "", "state <>", f.Not)
	where(!f.Since.IsZero(), "begun >=", stamp(f.Since))
	where(f.Before > 0, "number <", f.Before)
	if f.Limit <= 0 {
		f.Limit = DefaultLimit
	}
	args = append(args, int64(f.Limit))
	fmt.Fprintf(query, " ORDER BY number DESC LIMIT $%d", len(args))
	rows, err := collect(ctx, s, func(rows *sql.Rows) (VisitRow, error) { return scanVisit(rows) }, query.String(), args...)
	if err != nil {
		return nil, fmt.Errorf("list visits: %w", err)
	}
	return rows, nil
}

// scanVisit reads the columns of a list, and what follows them into more.
func scanVisit(rows *sql.Rows, more ...any) (r VisitRow, err error) {
	var begun, ended, sum int64
	if err = rows.Scan(append([]any{&r.Number, &r.Site, &r.State, &begun, &ended, &r.Body, &sum}, more...)...); err != nil {
		return r, err
	}
	r.Begun, r.Ended = moment(begun), moment(ended)
	return r, whole(sum, r.checksum(), "visit %d", r.Number)
}
