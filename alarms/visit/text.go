package visit

import (
	"fmt"
	"io"
	"strings"
	"text/tabwriter"
)

// WriteText writes the proof for people.
func (p *Proof) WriteText(w io.Writer) error {
	out := &strings.Builder{}
	fmt.Fprintf(out, "Visit %s to %s (%s)", p.ID, p.SiteName, p.Site)
	if p.Address != "" {
		fmt.Fprintf(out, ", %s", p.Address)
	}
	fmt.Fprintf(out, "\n%s\n\n", p.Conclusion)
	line := func(name, value string) {
		if value != "" {
			fmt.Fprintf(out, "%-10s %s\n", name, value)
		}
	}
	line("who", p.By)
	line("begun", stamp(p.Begun))
	switch {
	case p.State == Open:
		line("open", "until "+stamp(p.Until)+" at the latest")
	case p.Forgotten:
		line("ended", stamp(p.Ended)+" by itself: nobody ended it")
	default:
		line("ended", stamp(p.Ended))
	}
	line("why", p.Reason)
	line("work on", strings.Join(p.Resources, ", "))
	line("found", p.Found)
	line("done", p.Done)
	line("exchanged", strings.Join(p.Exchanged, ", "))
	for _, m := range p.Meter {
		line("measured", m.String())
	}
	writeAlarms(out, "alarms that ended", p.Cleared)
	writeAlarms(out, "alarms still there", p.Remaining)
	writeAlarms(out, "new alarms", p.New)
	p.writeLevels(out)
	if len(p.Rebaseline) > 0 {
		out.WriteString("\nthese units read something else than at their baseline; if that is right now, give them a new one:\n")
		for _, u := range p.Rebaseline {
			fmt.Fprintf(out, "  lightwell commission begin %s\n  lightwell commission accept %s --reason %q\n", u, u, "visit "+p.ID)
		}
	}
	_, err := io.WriteString(w, out.String())
	return err
}

// String says what the meter showed and where.
func (m Meter) String() string {
	at := m.Unit
	if m.Port != "" {
		at += "/" + m.Port
	}
	text := fmt.Sprintf("%.2f dBm at %s", m.DBm, at)
	if m.Expected != nil {
		text += fmt.Sprintf(", %.2f dBm was expected", *m.Expected)
	}
	return text
}

func writeAlarms(out *strings.Builder, title string, list []Alarm) {
	if len(list) == 0 {
		return
	}
	fmt.Fprintf(out, "\n%s\n", title)
	for _, a := range list {
		fmt.Fprintf(out, "  %s %s %s: %s\n", a.Severity, a.Type, a.Resource, a.Text)
	}
}

func (p *Proof) writeLevels(out *strings.Builder) {
	if len(p.Lines) == 0 {
		return
	}
	out.WriteString("\n")
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "unit\tpoint\tbefore\tafter\tchange\tnoise\tbaseline\tverdict")
	for i := range p.Lines {
		l := &p.Lines[i]
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\n", l.Unit, l.Point, l.word(l.Before, l.BeforeState, "%.*f"), l.word(l.After, l.AfterState, "%.*f"),
			l.word(l.Change, "", "%+.*f"), l.noise(), l.word(l.Baseline, "", "%.*f"), l.Verdict)
	}
	w.Flush() // into memory
}

// word writes a number with its unit, or a state, or a dash.
func (l *Line) word(v *float64, state, format string) string {
	switch {
	case v != nil:
		return strings.TrimSpace(fmt.Sprintf(format, l.Decimals, *v) + " " + l.Symbol)
	case state != "":
		return state
	}
	return "-"
}

func (l *Line) noise() string {
	if l.Change == nil {
		return "-"
	}
	return fmt.Sprintf("%.*f", l.Decimals, l.Noise)
}
