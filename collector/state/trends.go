package state

import (
	"context"
	"database/sql"
	"fmt"
)

// A TrendRow is what is known of slow changes: of the points of a unit, or of
// a group of points that are alike. The next of its name takes its place.
type TrendRow struct {
	Name string
	Body []byte // any bytes
}

func (r TrendRow) checksum() int64 { return checksum([]string{r.Name}, r.Body) }

const putTrend = `INSERT INTO trends (name, body, checksum) VALUES ($1, $2, $3)
	ON CONFLICT (name) DO UPDATE SET body = excluded.body, checksum = excluded.checksum`

// SaveTrends stores rows in place of those before, all or none.
func (s *Store) SaveTrends(ctx context.Context, rows []TrendRow) error {
	err := s.write(ctx, func(*heads) ([]statement, error) {
		out := make([]statement, len(rows))
		for i, r := range rows {
			out[i] = statement{putTrend, []any{r.Name, r.Body, r.checksum()}}
		}
		return out, nil
	})
	if err != nil {
		return fmt.Errorf("store trends: %w", err)
	}
	return nil
}

// Trends returns all rows.
func (s *Store) Trends(ctx context.Context) ([]TrendRow, error) {
	rows, err := collect(ctx, s, func(rows *sql.Rows) (r TrendRow, err error) {
		var sum int64
		if err = rows.Scan(&r.Name, &r.Body, &sum); err != nil {
			return r, err
		}
		return r, whole(sum, r.checksum(), "trends of %s", r.Name)
	}, "SELECT name, body, checksum FROM trends ORDER BY name")
	if err != nil {
		return nil, fmt.Errorf("read trends: %w", err)
	}
	return rows, nil
}
