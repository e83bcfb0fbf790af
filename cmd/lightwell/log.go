package main

import (
	"fmt"
	"io"
	"net/url"
	"strconv"
	"text/tabwriter"
	"time"

	"lightwell/alarms/web"
)

type logCmd struct {
	serverFlags
	outputFlag
	Alarm string        `help:"Of this alarm only, by its id." placeholder:"ID"`
	Site  string        `help:"Of this site only."`
	Since time.Duration `help:"As far back as this, such as 24h." placeholder:"DURATION"`
	Limit int           `default:"100" help:"Most lines wanted; 0 for all."`
}

// Help is printed by log --help.
func (logCmd) Help() string {
	return `Shows the log of changes, newest first: what happened to alarms, what people did with them, which baselines were accepted, and reloads; each with who, when and from where.

Example: lightwell log --site north-quay --since 24h`
}

// Run lists.
func (c logCmd) Run(s *streams) error {
	api, err := c.client()
	if err != nil {
		return err
	}
	query := url.Values{}
	for key, value := range map[string]string{"alarm": c.Alarm, "site": c.Site} {
		if value != "" {
			query.Set(key, value)
		}
	}
	if c.Since > 0 {
		query.Set("since", time.Now().Add(-c.Since).UTC().Format(time.RFC3339))
	}
	lines, err := c.lines(s, api, query)
	if err != nil {
		return err
	}
	if c.Output == "json" {
		return writeJSON(s.out, lines)
	}
	return printLog(s.out, lines)
}

func (c logCmd) lines(s *streams, api *client, query url.Values) ([]web.LogLine, error) {
	const most = 1000 // in one answer
	lines := []web.LogLine{}
	for {
		want := most
		if c.Limit > 0 {
			want = min(most, c.Limit-len(lines))
		}
		query.Set("limit", strconv.Itoa(want))
		var p page[web.LogLine]
		if err := api.call(s.ctx, "GET", "log", query, nil, &p); err != nil {
			return nil, err
		}
		lines = append(lines, p.Items...)
		if p.Next == "" || c.Limit > 0 && len(lines) >= c.Limit {
			return lines, nil
		}
		query.Set("after", p.Next)
	}
}

func printLog(out io.Writer, lines []web.LogLine) error {
	if len(lines) == 0 {
		fmt.Fprintln(out, "nothing in the log")
		return nil
	}
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "time\twhat\twho\tfrom\tof\ttext")
	for _, l := range lines {
		of, text := l.Site, l.Text
		if a := l.Alarm; a != nil {
			of = a.Type + " " + a.Resource
			if text == "" {
				text = a.Text
			}
		}
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\t%s\n", l.Time.UTC().Format(clock), l.Kind, l.Operator, l.From, of, text)
	}
	return w.Flush()
}
