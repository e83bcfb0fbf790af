package replay

import (
	"fmt"
	"io"
	"strings"
	"text/tabwriter"
	"time"
)

// clock is how a time is printed, in UTC.
const clock = "2006-01-02 15:04:05"

// WriteText writes the result for people: what speaks against a baseline,
// one line per change and event, and a table of the types at the end.
func (r *Result) WriteText(out io.Writer) error {
	for _, ref := range r.References {
		for _, f := range ref.Findings {
			fmt.Fprintf(out, "baseline of %s: %s\n", ref.Unit, f)
		}
	}
	for i := range r.Lines {
		if err := r.Lines[i].write(out); err != nil {
			return err
		}
	}
	return r.Summary.write(out)
}

func (l *Line) write(out io.Writer) error {
	words := []string{l.Kind}
	if l.What == AlarmLine {
		words = []string{l.Kind, l.Severity, l.Type}
	}
	words = append(words, l.Resource+":", l.Text)
	if l.Held != "" {
		words = append(words, "(held back by "+l.Held+")")
	}
	_, err := fmt.Fprintf(out, "%s  %s  %s\n", l.Time.UTC().Format(clock), l.What, strings.Join(words, " "))
	return err
}

func (s *Summary) write(out io.Writer) error {
	fmt.Fprintf(out, "\n%d readings in %d polls of %d units, %s\n", s.Readings, s.Polls, s.Units, span(s.From, s.To))
	if n := len(s.Skipped); n > 0 {
		fmt.Fprintf(out, "%d units have readings but are not in the fleet: %s\n", n, shortened(s.Skipped))
	}
	if len(s.Types) == 0 {
		_, err := fmt.Fprintln(out, "no alarms")
		return err
	}
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "type\traised\tnotified\tactive at the end")
	var all TypeCount
	for _, n := range s.Types {
		fmt.Fprintf(w, "%s\t%d\t%d\t%d\n", n.Type, n.Raised, n.Notified, n.Active)
		all.Raised, all.Notified, all.Active = all.Raised+n.Raised, all.Notified+n.Notified, all.Active+n.Active
	}
	fmt.Fprintf(w, "together\t%d\t%d\t%d\n", all.Raised, all.Notified, all.Active)
	return w.Flush()
}

func span(from, to time.Time) string {
	if from.IsZero() {
		return "nothing read"
	}
	return fmt.Sprintf("%s to %s", from.UTC().Format(clock), to.UTC().Format(clock))
}

// shortened names the first few.
func shortened(ids []string) string {
	const few = 5
	if len(ids) <= few {
		return strings.Join(ids, ", ")
	}
	return strings.Join(ids[:few], ", ") + " …"
}
