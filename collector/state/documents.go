package state

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
)

// SaveAll writes documents by name, all or none, each in place of the one
// before; nil forgets one.
func (s *Store) SaveAll(ctx context.Context, documents map[string]json.RawMessage) error {
	err := s.write(ctx, func(*heads) ([]statement, error) {
		out := make([]statement, 0, len(documents))
		for name, body := range documents {
			if body == nil {
				out = append(out, statement{"DELETE FROM documents WHERE name = $1", []any{name}})
				continue
			}
			out = append(out, Document{name, body}.put())
		}
		return out, nil
	})
	if err != nil {
		return fmt.Errorf("store %d documents: %w", len(documents), err)
	}
	return nil
}

// Documents returns those whose name begins with prefix, which is of ASCII, by
// the rest of their names. It reads the whole table.
func (s *Store) Documents(ctx context.Context, prefix string) (map[string]json.RawMessage, error) {
	type document struct {
		name string
		body []byte
	}
	rows, err := collect(ctx, s, func(rows *sql.Rows) (d document, err error) {
		var sum int64
		if err = rows.Scan(&d.name, &d.body, &sum); err != nil {
			return d, err
		}
		return d, whole(sum, checksum([]string{d.name}, d.body), "document %s", d.name)
	}, "SELECT name, body, checksum FROM documents WHERE substr(name, 1, $1) = $2", len(prefix), prefix)
	if err != nil {
		return nil, fmt.Errorf("read documents %s: %w", prefix, err)
	}
	out := make(map[string]json.RawMessage, len(rows))
	for _, d := range rows {
		out[d.name[len(prefix):]] = d.body
	}
	return out, nil
}
