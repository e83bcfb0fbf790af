package state

import (
	"context"
	"fmt"
	"strings"
	"time"
)

// A Retention says what may be forgotten. Baselines, alarms and messages that
// wait are never.
type Retention struct {
	// Changes and Dead are the oldest lines of the log and the oldest messages
	// given up that stay; zero: all stay.
	Changes, Dead time.Time
	// Keep are kinds of lines that stay for ever.
	Keep []string
}

// Trim forgets up to limit lines of the log and up to limit messages, oldest
// first, and returns how many rows went. It is one short transaction: call it
// again until it returns zero. The newest line stays, so that no number is
// given twice.
func (s *Store) Trim(ctx context.Context, r Retention, limit int) (rows int, err error) {
	err = s.write(ctx, func(*heads) ([]statement, error) {
		lines, err := s.old(ctx, r, limit)
		if err != nil {
			return nil, err
		}
		dead, err := gather(ctx, s.engine.writer(), scanNumber,
			"SELECT place FROM outbox WHERE state = 'dead' AND created < $1 ORDER BY place LIMIT $2", stamp(r.Dead), int64(limit))
		if err != nil {
			return nil, err
		}
		rows = len(lines) + len(dead)
		out := make([]statement, 0, rows)
		for _, n := range lines {
			out = append(out, statement{"DELETE FROM changes WHERE entry = $1", []any{n}})
		}
		for _, n := range dead {
			out = append(out, statement{"DELETE FROM outbox WHERE place = $1 AND state = 'dead'", []any{n}})
		}
		return out, nil
	})
	if err != nil {
		return 0, fmt.Errorf("forget old lines and messages: %w", err)
	}
	return rows, nil
}

// old returns the entries of lines that may go. It is for who has the turn to
// write.
func (s *Store) old(ctx context.Context, r Retention, limit int) ([]int64, error) {
	args := []any{stamp(r.Changes), int64(limit)}
	places := make([]string, len(r.Keep))
	for i, kind := range r.Keep {
		args = append(args, kind)
		places[i] = fmt.Sprintf("$%d", len(args))
	}
	query := `SELECT entry FROM changes WHERE at < $1 AND entry < (SELECT MAX(entry) FROM changes)
		AND (seq IS NULL OR seq < (SELECT MAX(seq) FROM changes))`
	if len(places) > 0 {
		query += " AND kind NOT IN (" + strings.Join(places, ", ") + ")"
	}
	return gather(ctx, s.engine.writer(), scanNumber, query+" ORDER BY at, entry LIMIT $2", args...)
}

// Size tells how much is stored.
type Size struct {
	Rows  map[string]int64 // by table
	Bytes int64            // of the database, without its write-ahead log
}

// tables are those whose rows are counted.
var tables = []string{"alarms", "changes", "evidence", "outbox", "baselines", "documents", "visits"}

// Size counts. It reads an index of every table whole: ask it rarely.
func (s *Store) Size(ctx context.Context) (Size, error) {
	out := Size{Rows: map[string]int64{}}
	for _, t := range tables {
		n, err := collect(ctx, s, scanNumber, "SELECT COUNT(*) FROM "+t)
		if err != nil {
			return Size{}, fmt.Errorf("count rows of %s: %w", t, err)
		}
		out.Rows[t] = n[0]
	}
	bytes, err := collect(ctx, s, scanNumber, s.engine.sizeQuery())
	if err != nil {
		return Size{}, fmt.Errorf("measure the database: %w", err)
	}
	out.Bytes = bytes[0]
	return out, nil
}
