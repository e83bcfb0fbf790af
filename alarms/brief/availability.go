package brief

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"lightwell/alarms"
	"lightwell/alarms/availability"
	"lightwell/alarms/brief/paper"
	"lightwell/collector/state"
)

// Availability is how the links of a site have served in one month.
type Availability struct {
	Site  string                 `json:"site"`
	Name  string                 `json:"name"`
	Month string                 `json:"month" doc:"In the site's zone."`
	From  time.Time              `json:"from"`
	To    time.Time              `json:"to" doc:"End of the month, or now."`
	Links []availability.Figures `json:"links"`
	Rule  string                 `json:"rule" doc:"What counts as out of service."`

	made  time.Time
	scene *scene
}

// ErrMonth is returned for a month that is none, or that has not begun.
var ErrMonth = fmt.Errorf("write a month as 2026-10, one that has begun")

// monthLayout is how a month is written.
const monthLayout = "2006-01"

// Availability returns the figures of a site's links in a month; "" is the
// month of now.
func (w *Writer) Availability(ctx context.Context, site, month string, now time.Time) (*Availability, error) {
	s, err := w.scene(site, now)
	if err != nil {
		return nil, err
	}
	if month == "" {
		month = now.In(s.zone()).Format(monthLayout)
	}
	from, err := time.ParseInLocation(monthLayout, month, s.zone())
	if err != nil || !from.Before(now) {
		return nil, fmt.Errorf("month %q: %w", month, ErrMonth)
	}
	to := from.AddDate(0, 1, 0)
	if now.Before(to) {
		to = now
	}
	log, err := w.log(ctx, site, from, now)
	if err != nil {
		return nil, err
	}
	return &Availability{
		Site: site, Name: s.siteName(), Month: month, From: from.UTC(), To: to.UTC(), Rule: rule(),
		Links: availability.Of(s.fleet, s.fleet.LinksAt(site), log, from, to), made: now, scene: s,
	}, nil
}

func rule() string {
	return "A link is out of service while an alarm of one of these types is raised that impacts it and that no twin stands in for: " +
		strings.Join(availability.Affecting(), ", ") + ". Time out of service during planned work, and time in which nobody looked " +
		"(the daemon was off, or an end of the link did not answer), is left out of the percentage and stated beside it."
}

// Kinds of lines of the log that tell when the daemon ran.
const (
	LineStarted = "started"
	LineStopped = "stopped"
)

// Started is the body of a line that tells of a start.
type Started struct {
	LastAlive time.Time `json:"last_alive,omitzero"` // when the daemon before wrote last
}

// log reads the lines about a site from a time on, and those about the
// daemon. Lines of links whose alarms are kept at another site do not exist:
// an alarm is kept at the site of its cause.
func (w *Writer) log(ctx context.Context, site string, from, now time.Time) (availability.Log, error) {
	out := availability.Log{From: from, Standing: w.s.Alarms(alarms.Filter{Site: site, Clearance: alarms.ClearanceNotCleared, Shelving: alarms.ShelvingAny})}
	if w.s.Changes == nil {
		out.From = now
		return out, nil
	}
	rows, err := w.lines(ctx, state.Filter{Site: site, Since: from})
	if err != nil {
		return out, fmt.Errorf("read log of changes: %w", err)
	}
	for _, r := range rows {
		if c, ok := change(r); ok {
			out.Changes = append(out.Changes, c)
		}
	}
	return out, w.watched(ctx, &out, now)
}

// watched fills in when the daemon was off. What lies before the first line of
// the log is unknown.
func (w *Writer) watched(ctx context.Context, log *availability.Log, now time.Time) error {
	rows, err := w.lines(ctx, state.Filter{NoSite: true})
	if err != nil {
		return fmt.Errorf("read log of changes: %w", err)
	}
	if len(rows) == 0 {
		log.From = now
		return nil
	}
	if begin := rows[0].Time; begin.After(log.From) {
		log.From = begin
	}
	stopped := time.Time{}
	for _, r := range rows {
		switch r.Kind {
		case LineStarted:
			log.Off = append(log.Off, availability.Span{From: off(r, stopped, log.From), To: r.Time})
			stopped = time.Time{}
		case LineStopped:
			stopped = r.Time
		}
	}
	return nil
}

// off is when the daemon that ran before a start went off: when it said so,
// else when it wrote last.
func off(started state.ChangeRow, stopped, begin time.Time) time.Time {
	if !stopped.IsZero() {
		return stopped
	}
	var body Started
	if json.Unmarshal(started.Body, &body) == nil && !body.LastAlive.IsZero() {
		return body.LastAlive
	}
	return begin // nothing tells: all of it is unknown
}

func change(r state.ChangeRow) (availability.Change, bool) {
	c := availability.Change{Time: r.Time, Gone: r.Kind == string(alarms.Purged)}
	return c, r.AlarmID != "" && json.Unmarshal(r.Body, &c.Alarm) == nil
}

// pageOfLog is how many lines are read at once.
const pageOfLog = 5000

// lines reads the whole log that passes a filter, oldest first.
func (w *Writer) lines(ctx context.Context, f state.Filter) ([]state.ChangeRow, error) {
	var out []state.ChangeRow
	f.Limit = pageOfLog
	for {
		rows, err := w.s.Changes(ctx, f)
		if err != nil {
			return nil, err
		}
		out = append(out, rows...)
		if len(rows) < f.Limit {
			slices.Reverse(out)
			return out, nil
		}
		f.Before = rows[len(rows)-1].Entry
	}
}

// Document sets the figures.
func (a *Availability) Document() *paper.Document {
	s := a.scene
	d := &paper.Document{
		Title: "Availability: " + a.Name + ", " + a.Month, Subtitle: "From " + s.local(a.From) + " to " + s.local(a.To) + ".",
		Foot: "Availability " + a.Site + " " + a.Month + ", made " + s.local(a.made), Made: a.made,
	}
	t := paper.Table{
		Head:   []string{"Link", "Available", "Outages", "Lost, min", "Longest, min", "Planned work, min", "Unknown, min"},
		Shares: []float64{2, 1, 0.8, 1, 1.1, 1.2, 1.1}, Right: []int{1, 2, 3, 4, 5, 6},
	}
	for i := range a.Links {
		f := &a.Links[i]
		percent := "\u2013"
		if f.Percent != nil {
			percent = strconv.FormatFloat(*f.Percent, 'f', 3, 64) + " %"
		}
		t.Rows = append(t.Rows, []string{f.Link, percent, strconv.Itoa(f.Outages), minutes(f.Minutes), minutes(f.LongestM), minutes(f.PlannedM), minutes(f.UnknownM)})
	}
	d.Add(t, paper.Text{Text: a.Rule, Small: true})
	return d
}
