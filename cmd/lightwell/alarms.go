package main

import (
	"context"
	"fmt"
	"io"
	"net/url"
	"strings"
	"text/tabwriter"
	"time"

	"lightwell/alarms/web/view"
)

// alarmsCmd groups what can be done with alarms of a running daemon.
type alarmsCmd struct {
	List        alarmsListCmd   `cmd:"" default:"withargs" help:"List alarms, most urgent first."`
	Show        alarmsShowCmd   `cmd:"" help:"Show one alarm with its history."`
	Acknowledge acknowledgeCmd  `cmd:"" help:"Say that somebody works on it."`
	Close       closeCmd        `cmd:"" help:"Say that the corrective action was successful."`
	Reopen      reopenCmd       `cmd:"" help:"Say that nobody works on it any more."`
	Comment     commentCmd      `cmd:"" help:"Say something and change nothing."`
	Shelve      alarmsShelveCmd `cmd:"" help:"Put an alarm aside until a time."`
	Unshelve    unshelveCmd     `cmd:"" help:"Take an alarm off the shelf."`
	Purge       purgeCmd        `cmd:"" help:"Remove alarms that have cleared from the list."`
	Compress    compressCmd     `cmd:"" help:"Forget all status changes of alarms but the latest."`
	Shelf       shelfCmd        `cmd:"" help:"List, put and remove shelves that take every alarm that fits."`
}

// page is one page of a listing of the API.
type page[T any] struct {
	Items []T    `json:"items"`
	Total int    `json:"total"`
	Next  string `json:"next"`
}

// all reads every page of a listing.
func all[T any](ctx context.Context, c *client, path string, query url.Values) ([]T, error) {
	query.Set("limit", "1000")
	items := []T{}
	for {
		var p page[T]
		if err := c.call(ctx, "GET", path, query, nil, &p); err != nil {
			return nil, err
		}
		items = append(items, p.Items...)
		if p.Next == "" {
			return items, nil
		}
		query.Set("after", p.Next)
	}
}

type alarmsListCmd struct {
	serverFlags
	outputFlag
	State    string `enum:"active,new,acknowledged,held,shelved,cleared,closed,all" default:"active" help:"active, new, acknowledged, held, shelved, cleared, closed or all."`
	Severity string `help:"This severity and worse: warning, minor, major or critical."`
	Site     string `help:"Of this site only."`
	Type     string `help:"Of this type only."`
}

// Run lists.
func (c alarmsListCmd) Run(s *streams) error {
	api, err := c.client()
	if err != nil {
		return err
	}
	query := url.Values{}
	for key, value := range map[string]string{"state": c.State, "severity": c.Severity, "site": c.Site, "type": c.Type} {
		if value != "" {
			query.Set(key, value)
		}
	}
	list, err := all[view.Alarm](s.ctx, api, "alarms", query)
	if err != nil {
		return err
	}
	if c.Output == "json" {
		return writeJSON(s.out, list)
	}
	return printAlarms(s.out, list, time.Now())
}

func printAlarms(out io.Writer, list []view.Alarm, now time.Time) error {
	if len(list) == 0 {
		fmt.Fprintln(out, "no alarms")
		return nil
	}
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "id\tseverity\tsince\toperator\tresource\ttype\ttext")
	for _, a := range list {
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\t%s\t%s\n", a.ID, a.State(), since(now, a.LastChanged), a.Operator, a.Resource, a.Type, a.Text)
	}
	return w.Flush()
}

// since returns how long ago t was, in the two largest units that matter.
func since(now, t time.Time) string {
	d := now.Sub(t)
	switch {
	case d < time.Minute:
		return d.Round(time.Second).String()
	case d < 24*time.Hour:
		return strings.TrimSuffix(d.Round(time.Minute).String(), "0s")
	}
	return fmt.Sprintf("%dd%dh", d/(24*time.Hour), d%(24*time.Hour)/time.Hour)
}

// oneAlarm is the argument of the commands that take an alarm.
type oneAlarm struct {
	ID string `arg:"" help:"Id of the alarm, as the list shows it."`
}

type alarmsShowCmd struct {
	serverFlags
	outputFlag
	oneAlarm
}

// Run shows.
func (c alarmsShowCmd) Run(s *streams) error {
	api, err := c.client()
	if err != nil {
		return err
	}
	var a view.Alarm
	if err := api.call(s.ctx, "GET", "alarms/"+url.PathEscape(c.ID), nil, nil, &a); err != nil {
		return err
	}
	if c.Output == "json" {
		return writeJSON(s.out, a)
	}
	printAlarm(s.out, a)
	return nil
}

const clock = "2006-01-02 15:04:05 UTC"

func printAlarm(out io.Writer, a view.Alarm) {
	fmt.Fprintf(out, "%s  %s  %s\n%s\n%s\n\n", a.ID, a.State(), a.Type, a.Resource, a.Text)
	fmt.Fprintf(out, "cause %s (%d), %s; raised %s; operator state %s; version %d\n", a.Cause.Name, a.Cause.Number, a.EventType, a.LastRaised.UTC().Format(clock), a.Operator, a.Version)
	if a.Hold.Reason != "" {
		fmt.Fprintf(out, "held back: %s, %s\n", a.Hold.Reason, a.Hold.By)
	}
	printFinding(out, &a.Details)
	printList(out, "impacted", a.Details.Impacted)
	printList(out, "do first", a.Details.Actions)
	printList(out, "caution", a.Details.Cautions)
	fmt.Fprintln(out, "\nstatus changes")
	for _, c := range a.Changes {
		fmt.Fprintf(out, "  %s  %s  %s\n", c.Time.UTC().Format(clock), c.Severity, c.Text)
	}
	if len(a.Actions) > 0 {
		fmt.Fprintln(out, "\noperator actions")
	}
	for _, o := range a.Actions {
		fmt.Fprintf(out, "  %s  %s  %s  %s\n", o.Time.UTC().Format(clock), o.Operator, o.State, o.Text)
	}
}

func printList(out io.Writer, title string, lines []string) {
	for _, line := range lines {
		fmt.Fprintf(out, "%s: %s\n", title, line)
	}
}
