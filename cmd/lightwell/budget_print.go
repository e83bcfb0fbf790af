package main

import (
	"cmp"
	"fmt"
	"io"
	"text/tabwriter"

	"lightwell/collector/plan"
)

// printBudgets prints one line for each direction.
func printBudgets(out io.Writer, sheets []plan.Sheet) error {
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "link\tdirection\tloss\tat most\tlight\tat least\tC/N0\tleft\tuntil")
	for _, s := range sheets {
		light, low, by, left := "-", "-", "-", "-"
		if s.Light != nil {
			light, low = fmt.Sprintf("%.1f dBm", s.Light.Mean), fmt.Sprintf("%.1f dBm", s.Light.Low)
		}
		if s.Failure != nil {
			left, by = spanned(&s.Failure.Left, "dB"), string(s.Failure.By)
		}
		fmt.Fprintf(w, "%s\t%s\t%.1f dB\t%.1f dB\t%s\t%s\t%s\t%s\t%s\n", s.Link, s.Direction, s.Loss.Mean, s.Loss.Most, light, low, orDash(spanned(s.CN0, "dB-Hz")), left, by)
	}
	return w.Flush()
}

// spanned writes a value, or what it lies between.
func spanned(s *plan.Span, unit string) string {
	switch {
	case s == nil:
		return ""
	case s.High == nil:
		return fmt.Sprintf("at least %.1f %s", s.Low, unit)
	case *s.High == s.Low:
		return fmt.Sprintf("%.1f %s", s.Low, unit)
	}
	return fmt.Sprintf("%.1f to %.1f %s", s.Low, *s.High, unit)
}

// printBudget prints one direction in full.
func printBudget(out io.Writer, s plan.Sheet) error {
	name := s.Direction
	if s.Link != "" {
		name = s.Link + ": " + name
	}
	if s.From != "" || s.To != "" {
		name += fmt.Sprintf(", %s to %s", cmp.Or(s.From, "any unit"), cmp.Or(s.To, "any unit"))
	}
	fmt.Fprintf(out, "%s, %g m, %d connector pairs, %d splices, %g nm\n", name, s.LengthM, s.Connectors, s.Splices, s.WavelengthNM)
	say := func(what, format string, args ...any) {
		fmt.Fprintf(out, "  %-14s  %s\n", what, fmt.Sprintf(format, args...))
	}
	split := ""
	if s.SplitDB > 0 {
		split = fmt.Sprintf("; %.1f dB of it is the splitter's", s.SplitDB)
	}
	say("optical loss", "%.2f dB, sd %.2f; at most %.2f (mean + 3 sd); every part at its limit %.2f%s", s.Loss.Mean, s.Loss.SD, s.Loss.Most, s.Loss.Worst, split)
	if l := s.Light; l != nil {
		limits := ""
		if l.Needs != nil {
			limits += fmt.Sprintf("; the receiver needs %.1f", *l.Needs)
		}
		if l.Bears != nil {
			limits += fmt.Sprintf("; it bears %.1f", *l.Bears)
		}
		say("light received", "%.1f dBm, sd %.2f; at least %.1f (mean - 3 sd); worst %.1f%s", l.Mean, l.SD, l.Low, l.Worst, limits)
	}
	if s.GainDB != nil {
		say("RF gain", "%.1f dB", *s.GainDB)
	}
	if s.NoiseFigure != nil {
		say("noise figure", "%s", spanned(s.NoiseFigure, "dB"))
	}
	if s.CN0 != nil {
		say("C/N0", "%s; the service needs %.1f, reached at a loss of %s", spanned(s.CN0, "dB-Hz"), *s.CN0Min, spanned(s.CN0Ends, "dB"))
	}
	if f := s.Failure; f != nil {
		say("service fails", "at a loss of %s, by %s: %s left", spanned(&f.Loss, "dB"), f.By, spanned(&f.Left, "dB"))
	} else {
		say("service fails", "not known: give the receiver's limit, or noise and what the service needs")
	}
	for _, r := range s.Remarks {
		say("look", "%s", r)
	}
	return printAgainst(out, s)
}

// printAgainst prints the table against optical loss, with the columns that
// are known.
func printAgainst(out io.Writer, s plan.Sheet) error {
	known := s.Against[0]
	type column struct {
		title string
		known bool
		cell  func(plan.Row) string
	}
	columns := []column{
		{"optical loss", true, func(r plan.Row) string { return fmt.Sprintf("%.0f dB", r.LossDB) }},
		{"light", known.LightDBm != nil, func(r plan.Row) string { return fmt.Sprintf("%.1f dBm", *r.LightDBm) }},
		{"RF gain", known.GainDB != nil, func(r plan.Row) string { return fmt.Sprintf("%.1f dB", *r.GainDB) }},
		{"noise figure", known.NoiseFigure != nil, func(r plan.Row) string { return spanned(r.NoiseFigure, "dB") }},
		{"C/N0", known.CN0 != nil, func(r plan.Row) string { return spanned(r.CN0, "dB-Hz") }},
		{"C/N0 lost", known.CN0 != nil, func(r plan.Row) string { return spanned(r.CN0Lost, "dB") }},
	}
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(out)
	for _, c := range columns {
		if c.known {
			fmt.Fprintf(w, "%s\t", c.title)
		}
	}
	fmt.Fprintln(w)
	for _, r := range s.Against {
		for _, c := range columns {
			if c.known {
				fmt.Fprintf(w, "%s\t", c.cell(r))
			}
		}
		fmt.Fprintln(w)
	}
	if err := w.Flush(); err != nil {
		return err
	}
	_, err := fmt.Fprintln(out)
	return err
}
