package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/url"
	"os"
	"strings"
	"text/tabwriter"

	"lightwell/alarms/brief"
	"lightwell/cmd/exit"
)

// printFlags say in which form a document is wanted, and where it goes.
type printFlags struct {
	serverFlags
	Paper  string `enum:"A4,Letter" default:"A4" help:"Of a PDF: A4 or Letter."`
	Output string `short:"o" help:"File to write; without it, or with -, the document is printed." placeholder:"FILE"`
}

// fetch gets a document in the form of a file.
func (f printFlags) fetch(s *streams, path, format string, query url.Values) error {
	if format == "pdf" && f.Output == "" {
		return exit.Usage(errors.New("a PDF needs --output FILE; write --output - to print it all the same"))
	}
	query.Set("format", format)
	query.Set("paper", f.Paper)
	api, err := f.client()
	if err != nil {
		return err
	}
	data, err := api.fetch(s.ctx, path, query)
	if err != nil {
		return err
	}
	if format == "json" {
		data = append(data, '\n')
	}
	if f.Output == "" || f.Output == "-" {
		_, err = s.out.Write(data)
		return err
	}
	if err := os.WriteFile(f.Output, data, 0o644); err != nil {
		return fmt.Errorf("write document: %w", err)
	}
	fmt.Fprintf(s.errOut, "wrote %s, %d kB\n", f.Output, (len(data)+1023)/1024)
	return nil
}

// fill gets a document as data.
func (f printFlags) fill(s *streams, path string, query url.Values, into any) error {
	api, err := f.client()
	if err != nil {
		return err
	}
	data, err := api.fetch(s.ctx, path, query)
	if err != nil {
		return err
	}
	if err := json.Unmarshal(data, into); err != nil {
		return fmt.Errorf("answer of %s is not what was expected: %w", api.base.Host, err)
	}
	return nil
}

// briefCmd prints what a visit needs.
type briefCmd struct {
	printFlags
	Site   string `arg:"" optional:"" help:"Id of the site."`
	Rank   bool   `help:"Print the order of visits instead: where to go first, and why."`
	Format string `enum:"text,html,pdf,csv,json" default:"text" help:"text, html, pdf, csv (figures only) or json."`
}

// Help is printed by brief --help.
func (briefCmd) Help() string {
	return `A brief says what is wrong and what speaks for it, what to measure first, what to bring, what is dangerous in this work, and shows every link since it was commissioned. It prints on A4 and Letter.

Example: lightwell brief --rank
         lightwell brief north-quay --format pdf --output north-quay.pdf`
}

// Run prints.
func (c briefCmd) Run(s *streams) error {
	site := strings.TrimPrefix(c.Site, "site/")
	switch {
	case c.Rank && site != "":
		return exit.Usage(errors.New("--rank is about all sites: leave the site out"))
	case c.Rank && c.Format == "text":
		var r brief.Ranking
		if err := c.fill(s, "visit-order", url.Values{}, &r); err != nil {
			return err
		}
		return printRanking(s.out, r)
	case c.Rank:
		return c.fetch(s, "visit-order", c.Format, url.Values{})
	case site == "":
		return exit.Hinted(exit.Usage(errors.New("no site is named")), "lightwell brief --rank says where to go first")
	}
	return c.fetch(s, "sites/"+url.PathEscape(site)+"/brief", c.Format, url.Values{})
}

func printRanking(out io.Writer, r brief.Ranking) error {
	if len(r.Sites) == 0 {
		fmt.Fprintln(out, "no site asks for a visit")
		return nil
	}
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "\tsite\tseverity\tdays left\twhy")
	for i, row := range r.Sites {
		severity := "-"
		if row.Severity != 0 {
			severity = row.Severity.String()
		}
		fmt.Fprintf(w, "%d\t%s\t%s\t%.0f\t%s\n", i+1, row.Site, severity, row.Days, row.Reason)
	}
	return w.Flush()
}

// availabilityCmd prints how links have served.
type availabilityCmd struct {
	printFlags
	Site   string `arg:"" help:"Id of the site."`
	Month  string `help:"Such as 2026-10; without it, the month of now." placeholder:"YYYY-MM"`
	Format string `enum:"text,html,pdf,csv,json" default:"text" help:"text, html, pdf, csv or json."`
}

// Run prints.
func (c availabilityCmd) Run(s *streams) error {
	path, query := "sites/"+url.PathEscape(strings.TrimPrefix(c.Site, "site/"))+"/availability", url.Values{}
	if c.Month != "" {
		query.Set("month", c.Month)
	}
	if c.Format != "text" {
		return c.fetch(s, path, c.Format, query)
	}
	var a brief.Availability
	if err := c.fill(s, path, query, &a); err != nil {
		return err
	}
	return printAvailability(s.out, a)
}

func printAvailability(out io.Writer, a brief.Availability) error {
	fmt.Fprintf(out, "%s, %s, from %s to %s\n", a.Name, a.Month, a.From.Format(clock), a.To.Format(clock))
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "link\tavailable\toutages\tlost, min\tlongest, min\tplanned work, min\tunknown, min")
	for i := range a.Links {
		f := &a.Links[i]
		percent := "-"
		if f.Percent != nil {
			percent = fmt.Sprintf("%.3f %%", *f.Percent)
		}
		fmt.Fprintf(w, "%s\t%s\t%d\t%.1f\t%.1f\t%.1f\t%.1f\n", f.Link, percent, f.Outages, f.Minutes, f.LongestM, f.PlannedM, f.UnknownM)
	}
	return w.Flush()
}

// certificateCmd prints the commissioning certificate of a link.
type certificateCmd struct {
	printFlags
	Link   string `arg:"" help:"Id of the link."`
	Format string `enum:"html,pdf,json" default:"html" help:"html, pdf or json."`
}

// Run prints.
func (c certificateCmd) Run(s *streams) error {
	return c.fetch(s, "links/"+url.PathEscape(strings.TrimPrefix(c.Link, "link/"))+"/certificate", c.Format, url.Values{})
}
