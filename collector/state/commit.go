package state

import (
	"bytes"
	"context"
	"database/sql"
	"errors"
	"fmt"
)

// heads are the newest numbers in the database. Only who has the turn reads
// and writes them.
type heads struct {
	known bool // false: read them before the next write
	entry int64
	seq   int64
	place int64
}

// readHeads asks for the newest numbers. It reads behind the last write, so
// that one whose outcome is unknown is either seen or never comes.
func (s *Store) readHeads(ctx context.Context) error {
	h := heads{known: true}
	for column, into := range map[string]*int64{"entry": &h.entry, "seq": &h.seq} {
		if err := s.newest(ctx, "changes", column, into); err != nil {
			return err
		}
	}
	if err := s.newest(ctx, "outbox", "place", &h.place); err != nil {
		return err
	}
	s.heads = h
	return nil
}

func (s *Store) newest(ctx context.Context, table, column string, into *int64) error {
	n, err := gather(ctx, s.engine.writer(), scanNumber, "SELECT COALESCE(MAX("+column+"), 0) FROM "+table)
	if err != nil {
		return fmt.Errorf("read newest %s of %s: %w", column, table, err)
	}
	*into = n[0]
	return nil
}

// write runs what build returns as one transaction. When its outcome is
// unknown, build is asked again, and finds in s.heads what came of the first
// attempt. It leaves out what is stored already.
func (s *Store) write(ctx context.Context, build func(h *heads) ([]statement, error)) error {
	err := s.begin(ctx)
	if err != nil {
		return err
	}
	defer s.done()
	for range 2 {
		if err = s.attempt(ctx, build); err == nil || !s.engine.lost(err) || ctx.Err() != nil {
			break
		}
	}
	return s.engine.explain(err)
}

// begin waits until nobody else writes, and until ctx ends at most.
func (s *Store) begin(ctx context.Context) error {
	select {
	case s.turn <- struct{}{}:
		return nil
	case <-ctx.Done():
		return fmt.Errorf("wait for the write before: %w", ctx.Err())
	}
}

func (s *Store) done() { <-s.turn }

func (s *Store) attempt(ctx context.Context, build func(h *heads) ([]statement, error)) error {
	if !s.heads.known {
		if err := s.readHeads(ctx); err != nil {
			return err
		}
	}
	h := s.heads
	batch, err := build(&h)
	if err != nil || len(batch) == 0 {
		return err
	}
	s.heads.known = false
	if err := s.engine.apply(ctx, batch); err != nil {
		return err
	}
	s.heads = h
	return nil
}

// Statements of Commit.
const (
	putAlarm = `INSERT INTO alarms (id, site, version, body, checksum) VALUES ($1, $2, $3, $4, $5)
		ON CONFLICT (id) DO UPDATE SET site = excluded.site, version = excluded.version, body = excluded.body, checksum = excluded.checksum`
	dropAlarm   = `DELETE FROM alarms WHERE id = $1`
	putEvidence = `INSERT INTO evidence (key, body, checksum) VALUES ($1, $2, $3)
		ON CONFLICT (key) DO UPDATE SET body = excluded.body, checksum = excluded.checksum`
	dropEvidence = `DELETE FROM evidence WHERE key = $1`
	addChange    = `INSERT INTO changes (entry, seq, alarm, site, kind, operator, origin, remark, at, body, checksum)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11)`
	addOutbox = `INSERT INTO outbox (place, endpoint, id, alarm, seq, type, content_type, body, created, checksum, state, attempts, next_attempt, reason, progress, leads)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15,
			CASE WHEN $11 = 'pending' AND NOT EXISTS (SELECT 1 FROM outbox WHERE endpoint = $2 AND alarm = $4 AND state = 'pending') THEN 1 ELSE 0 END)
		ON CONFLICT (endpoint, id) DO NOTHING`
)

// Commit stores a round, all or nothing. Rounds come in the order of their
// changes. Changes that are stored already are left out, with the messages
// that tell of them, so that a round whose outcome was unknown may be offered
// again, alone or merged with those that followed. Another change under a Seq
// that is taken is an error that wraps ErrConflict.
func (s *Store) Commit(ctx context.Context, b Batch) error {
	err := s.write(ctx, func(h *heads) ([]statement, error) {
		stored := uint64(h.seq)
		if err := s.agree(ctx, b.Changes, stored); err != nil {
			return nil, err
		}
		var out []statement
		for _, r := range b.Alarms {
			out = append(out, statement{putAlarm, []any{r.ID, r.Site, int64(r.Version), string(r.Body), r.checksum()}})
		}
		for _, id := range b.Purged {
			out = append(out, statement{dropAlarm, []any{id}})
		}
		for _, r := range b.Evidence {
			out = append(out, statement{putEvidence, []any{r.Key, string(r.Body), r.checksum()}})
		}
		for _, key := range b.EvidenceGone {
			out = append(out, statement{dropEvidence, []any{key}})
		}
		for _, d := range b.Documents {
			out = append(out, d.put())
		}
		for _, r := range b.Changes {
			if r.Seq > stored {
				out = append(out, h.change(r))
			}
		}
		for _, r := range b.Outbox {
			if r.Seq == 0 || r.Seq > stored {
				out = append(out, h.message(r))
			}
		}
		return out, nil
	})
	if err != nil {
		return fmt.Errorf("store round of site %q: %w", b.Site, err)
	}
	return nil
}

// change returns the statement that adds a line to the log under the next
// number.
func (h *heads) change(r ChangeRow) statement {
	h.entry++
	var seq any
	if r.Seq > 0 {
		h.seq = int64(r.Seq)
		seq = h.seq
	}
	r.Entry = uint64(h.entry)
	r.Operator, r.From, r.Text = clean(r.Operator), clean(r.From), clean(r.Text)
	return statement{addChange, []any{h.entry, seq, r.AlarmID, r.Site, r.Kind, r.Operator, r.From, r.Text, stamp(r.Time), string(r.Body), r.checksum()}}
}

// message returns the statement that adds a message under the next number,
// unless its key is there already.
func (h *heads) message(r OutboxRow) statement {
	h.place++
	if r.Body == nil {
		r.Body = []byte{}
	}
	r.LastError = clean(r.LastError)
	return statement{addOutbox, []any{h.place, r.Endpoint, r.ID, r.AlarmID, int64(r.Seq), r.Type, r.ContentType, r.Body, stamp(r.Created),
		r.checksum(h.place), r.State, int64(r.Attempts), stamp(r.Next), r.LastError, r.progress()}}
}

// agree refuses a change whose number is taken by another one.
func (s *Store) agree(ctx context.Context, changes []ChangeRow, stored uint64) error {
	for i, r := range changes {
		if r.Seq == 0 {
			return fmt.Errorf("change of alarm %q has no number: number changes from NextSeq on", r.AlarmID)
		}
		if i > 0 && r.Seq <= changes[i-1].Seq {
			return fmt.Errorf("change %d after change %d: offer changes in their order", r.Seq, changes[i-1].Seq)
		}
		if r.Seq > stored {
			continue
		}
		var alarm, kind, body string
		err := s.engine.writer().QueryRowContext(ctx, "SELECT alarm, kind, body FROM changes WHERE seq = $1", int64(r.Seq)).Scan(&alarm, &kind, &body)
		if errors.Is(err, sql.ErrNoRows) || err == nil && (alarm != r.AlarmID || kind != r.Kind || body != string(r.Body)) {
			return fmt.Errorf("change %d of alarm %q: %w; number changes from NextSeq on", r.Seq, r.AlarmID, ErrConflict)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// NextSeq returns the number of the next change: one above every number that
// a stored change or a stored alarm's version has.
func (s *Store) NextSeq(ctx context.Context) (uint64, error) {
	if err := s.begin(ctx); err != nil {
		return 0, fmt.Errorf("read next number: %w", err)
	}
	defer s.done()
	var version, seq int64
	for _, err := range []error{s.newest(ctx, "alarms", "version", &version), s.newest(ctx, "changes", "seq", &seq)} {
		if err != nil {
			return 0, s.engine.explain(err)
		}
	}
	return uint64(max(version, seq)) + 1, nil
}

// AppendAudit adds a line to the log that is not about an alarm.
func (s *Store) AppendAudit(ctx context.Context, r AuditRow) error {
	line := r.row()
	var tried uint64 // entry of an attempt whose outcome is unknown
	err := s.write(ctx, func(h *heads) ([]statement, error) {
		if tried > 0 && uint64(h.entry) >= tried {
			return nil, nil // nobody else writes: it is this line
		}
		st := h.change(line)
		tried = uint64(h.entry)
		return []statement{st}, nil
	})
	if err != nil {
		return fmt.Errorf("store audit line %q: %w", r.What, err)
	}
	return nil
}

func (r AuditRow) row() ChangeRow {
	return ChangeRow{Site: r.Site, Kind: r.What, Operator: r.Who, From: r.From, Text: r.Detail, Time: r.Time, Body: r.Body}
}

// Alarms returns all alarms.
func (s *Store) Alarms(ctx context.Context) ([]AlarmRow, error) {
	return collect(ctx, s, func(rows *sql.Rows) (r AlarmRow, err error) {
		var sum int64
		if err = rows.Scan(&r.ID, &r.Site, &r.Version, &r.Body, &sum); err != nil {
			return r, err
		}
		return r, whole(sum, r.checksum(), "alarm %s", r.ID)
	}, "SELECT id, site, version, body, checksum FROM alarms ORDER BY id")
}

// Evidence returns all evidence.
func (s *Store) Evidence(ctx context.Context) ([]EvidenceRow, error) {
	return collect(ctx, s, func(rows *sql.Rows) (r EvidenceRow, err error) {
		var sum int64
		if err = rows.Scan(&r.Key, &r.Body, &sum); err != nil {
			return r, err
		}
		return r, whole(sum, r.checksum(), "evidence %s", r.Key)
	}, "SELECT key, body, checksum FROM evidence ORDER BY key")
}

// Changes returns lines of the log, newest first by the time they tell of.
func (s *Store) Changes(ctx context.Context, f Filter) ([]ChangeRow, error) {
	query := bytes.NewBufferString("SELECT entry, COALESCE(seq, 0), alarm, site, kind, operator, origin, remark, at, body, checksum FROM changes WHERE 1 = 1")
	var args []any
	where := func(set bool, condition string, arg any) {
		if set {
			args = append(args, arg)
			fmt.Fprintf(query, " AND "+condition+" $%d", len(args))
		}
	}
	where(f.Alarm != "", "alarm =", f.Alarm)
	where(f.Site != "", "site =", f.Site)
	where(f.NoSite, "site =", "")
	where(!f.Since.IsZero(), "at >=", stamp(f.Since))
	where(f.Before > 0, "(at, entry) < (SELECT at, entry FROM changes WHERE entry =", int64(f.Before))
	if f.Before > 0 {
		query.WriteString(")")
	}
	if f.Limit <= 0 {
		f.Limit = DefaultLimit
	}
	args = append(args, int64(f.Limit))
	fmt.Fprintf(query, " ORDER BY at DESC, entry DESC LIMIT $%d", len(args))
	return collect(ctx, s, scanChange, query.String(), args...)
}

func scanChange(rows *sql.Rows) (r ChangeRow, err error) {
	var at, sum int64
	if err = rows.Scan(&r.Entry, &r.Seq, &r.AlarmID, &r.Site, &r.Kind, &r.Operator, &r.From, &r.Text, &at, &r.Body, &sum); err != nil {
		return r, err
	}
	r.Time = moment(at)
	return r, whole(sum, r.checksum(), "entry %d of the log", r.Entry)
}

// whole returns an error that wraps ErrDamaged when a row is not what was
// written.
func whole(stored, computed int64, what string, args ...any) error {
	if stored == computed {
		return nil
	}
	return fmt.Errorf("%w: "+what+": its checksum does not fit", append([]any{ErrDamaged}, args...)...)
}
