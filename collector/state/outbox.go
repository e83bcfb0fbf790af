package state

import (
	"context"
	"database/sql"
	"fmt"
	"time"
)

// AppendOutbox adds messages that no change of an alarm causes, all or none.
// One whose key is there already is left out.
func (s *Store) AppendOutbox(ctx context.Context, rows ...OutboxRow) error {
	err := s.write(ctx, func(h *heads) ([]statement, error) {
		out := make([]statement, len(rows))
		for i, r := range rows {
			out[i] = h.message(r)
		}
		return out, nil
	})
	if err != nil {
		return fmt.Errorf("add to outbox: %w", err)
	}
	return nil
}

// Statements of UpdateOutbox, run one after the other for each message.
const (
	updateMessage = `UPDATE outbox SET state = $3, attempts = $4, next_attempt = $5, reason = $6, progress = $7 WHERE endpoint = $1 AND id = $2`
	// electLeader is true to leads after the state of one message changed.
	electLeader = `UPDATE outbox SET leads = CASE WHEN place =
			(SELECT MIN(p.place) FROM outbox p WHERE p.endpoint = outbox.endpoint AND p.state = 'pending' AND p.alarm = outbox.alarm) THEN 1 ELSE 0 END
		WHERE place IN (
			SELECT l.place FROM outbox m JOIN outbox l ON l.endpoint = m.endpoint AND l.alarm = m.alarm AND l.leads = 1
				WHERE m.endpoint = $1 AND m.id = $2
			UNION ALL SELECT (SELECT MIN(p.place) FROM outbox p WHERE p.endpoint = m.endpoint AND p.state = 'pending' AND p.alarm = m.alarm)
				FROM outbox m WHERE m.endpoint = $1 AND m.id = $2)`
	dropDelivered = `DELETE FROM outbox WHERE endpoint = $1 AND id = $2 AND state = 'delivered'`
)

// UpdateOutbox stores State, Attempts, Next and LastError of messages by their
// keys, all or none; those that are Delivered leave the outbox. Unknown keys
// are skipped.
func (s *Store) UpdateOutbox(ctx context.Context, rows ...OutboxRow) error {
	err := s.write(ctx, func(*heads) ([]statement, error) {
		var out []statement
		for _, r := range rows {
			key := []any{r.Endpoint, r.ID}
			r.LastError = clean(r.LastError)
			out = append(out,
				statement{updateMessage, []any{r.Endpoint, r.ID, r.State, int64(r.Attempts), stamp(r.Next), r.LastError, r.progress()}},
				statement{electLeader, key})
			if r.State == Delivered {
				out = append(out, statement{dropDelivered, key})
			}
		}
		return out, nil
	})
	if err != nil {
		return fmt.Errorf("update outbox: %w", err)
	}
	return nil
}

const outboxColumns = "place, endpoint, id, alarm, seq, type, content_type, body, created, checksum, state, attempts, next_attempt, reason, progress"

func scanOutbox(rows *sql.Rows) (r OutboxRow, err error) {
	var place, created, next, sum, progress int64
	err = rows.Scan(&place, &r.Endpoint, &r.ID, &r.AlarmID, &r.Seq, &r.Type, &r.ContentType, &r.Body, &created, &sum,
		&r.State, &r.Attempts, &next, &r.LastError, &progress)
	if err != nil {
		return r, err
	}
	r.Created, r.Next = moment(created), moment(next)
	return r, whole(sum^progress, r.checksum(place)^r.progress(), "message %s for endpoint %s", r.ID, r.Endpoint)
}

// DueOutbox returns up to limit messages of an endpoint that may be sent now,
// oldest first. Of each alarm only the oldest pending one is looked at. With
// fewer than limit messages, next is when the earliest other one falls due,
// and zero when there is none.
func (s *Store) DueOutbox(ctx context.Context, endpoint string, now time.Time, limit int) (due []OutboxRow, next time.Time, err error) {
	due, err = collect(ctx, s, scanOutbox,
		"SELECT "+outboxColumns+` FROM outbox WHERE place IN
			(SELECT place FROM outbox WHERE endpoint = $1 AND leads = 1 AND next_attempt <= $2 ORDER BY place LIMIT $3) ORDER BY place`,
		endpoint, stamp(now), int64(limit))
	var earliest []int64
	if err == nil && len(due) < limit {
		earliest, err = collect(ctx, s, scanNumber,
			"SELECT COALESCE(MIN(next_attempt), 0) FROM outbox WHERE endpoint = $1 AND leads = 1 AND next_attempt > $2", endpoint, stamp(now))
	}
	if err != nil {
		return nil, time.Time{}, fmt.Errorf("read what is due for endpoint %s: %w", endpoint, err)
	}
	if len(earliest) > 0 {
		next = moment(earliest[0])
	}
	return due, next, nil
}

func scanNumber(rows *sql.Rows) (n int64, err error) { return n, rows.Scan(&n) }

// ListOutbox returns messages, oldest first: of an endpoint, or of all where
// it is empty; in a state, or in any; at most limit, or DefaultLimit where it
// is not positive.
func (s *Store) ListOutbox(ctx context.Context, endpoint, state string, limit int) ([]OutboxRow, error) {
	if limit <= 0 {
		limit = DefaultLimit
	}
	rows, err := collect(ctx, s, scanOutbox, "SELECT "+outboxColumns+` FROM outbox
		WHERE ($1 = '' OR endpoint = $1) AND ($2 = '' OR state = $2) ORDER BY place LIMIT $3`, endpoint, state, int64(limit))
	if err != nil {
		return nil, fmt.Errorf("list outbox: %w", err)
	}
	return rows, nil
}

// CountOutbox tells how the outbox stands for an endpoint.
func (s *Store) CountOutbox(ctx context.Context, endpoint string) (OutboxCount, error) {
	counts, err := collect(ctx, s, func(rows *sql.Rows) (c OutboxCount, err error) {
		var oldest int64
		err = rows.Scan(&c.Pending, &c.Dead, &oldest)
		c.Oldest = moment(oldest)
		return c, err
	}, `SELECT (SELECT COUNT(*) FROM outbox WHERE endpoint = $1 AND state = 'pending'),
		(SELECT COUNT(*) FROM outbox WHERE endpoint = $1 AND state = 'dead'),
		COALESCE((SELECT MIN(created) FROM outbox WHERE endpoint = $1 AND leads = 1), 0)`, endpoint)
	if err != nil {
		return OutboxCount{}, fmt.Errorf("count outbox of endpoint %s: %w", endpoint, err)
	}
	return counts[0], nil
}
