package main

import (
	"errors"
	"fmt"
	"io"
	"net/url"
	"strings"
	"text/tabwriter"

	"lightwell/alarms/baseline"
	"lightwell/alarms/web/view"
	"lightwell/cmd/exit"
)

// commissionCmd groups the steps from first light to an accepted baseline.
type commissionCmd struct {
	Begin       commissionBeginCmd  `cmd:"" help:"Begin to collect readings for a baseline."`
	Show        commissionShowCmd   `cmd:"" help:"Show what was collected and whether it can be accepted."`
	Certificate certificateCmd      `cmd:"" help:"Print the commissioning certificate of a link."`
	Accept      commissionAcceptCmd `cmd:"" help:"Accept what was collected as the baseline."`
}

// Help is printed by commission --help.
func (commissionCmd) Help() string {
	return `The resource is unit/ID, link/ID (both ends) or site/ID (all its units); an id alone means a unit. Accepting is recorded with who, when and version, and no version is ever overwritten. A baseline taken while something is wrong makes the wrong normal: look at every level before you accept.

Example: lightwell commission begin link/north
         lightwell commission show link/north
         lightwell commission accept link/north`
}

// commissioned is what all steps share.
type commissioned struct {
	serverFlags
	outputFlag
	Resource string `arg:"" help:"unit/ID, link/ID or site/ID."`
}

func (c commissioned) resource() string {
	if strings.Contains(c.Resource, "/") {
		return c.Resource
	}
	return "unit/" + c.Resource
}

func (c commissioned) call(s *streams, method, path string, query url.Values, body map[string]any) error {
	api, err := c.client()
	if err != nil {
		return err
	}
	if body != nil {
		body["resources"] = []string{c.resource()}
	}
	var answer page[view.Capture]
	var sent any
	if body != nil {
		sent = body
	}
	if err := api.call(s.ctx, method, path, query, sent, &answer); err != nil {
		return err
	}
	if c.Output == "json" {
		return writeJSON(s.out, answer.Items)
	}
	for _, capture := range answer.Items {
		if err := printCapture(s.out, capture); err != nil {
			return err
		}
	}
	return nil
}

func printCapture(out io.Writer, c view.Capture) error {
	fmt.Fprintf(out, "%s: %s", c.Unit, c.State)
	if n := len(c.Versions); n > 0 {
		v := c.Versions[n-1]
		fmt.Fprintf(out, ", version %d accepted %s by %s", v.Version, v.Accepted.UTC().Format(clock), v.By)
	}
	if c.Polls > 0 {
		fmt.Fprintf(out, ", %d polls, %d failed", c.Polls, c.Failed)
	}
	fmt.Fprintln(out)
	if len(c.Points) > 0 {
		w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
		fmt.Fprintln(w, "  point\treadings\tlevel\tspread\tdrift\tunit\tstable")
		for _, p := range c.Points {
			fmt.Fprintf(w, "  %s\t%d\t%.2f\t%.3f\t%+.3f\t%s\t%s\n", p.Point, p.Level.Samples, p.Level.Value, p.Level.Spread, p.Drift, orDash(p.Symbol), yes(p.Stable, p.Reason))
		}
		if err := w.Flush(); err != nil {
			return err
		}
	}
	printList(out, "  compared with the plan", c.Remarks)
	switch {
	case c.Ready:
		fmt.Fprintln(out, "  ready to be accepted")
	case c.State != baseline.Accepted:
		printList(out, "  not ready", c.Reasons)
	}
	return printLearning(out, c.Learning)
}

// printLearning tells how well the baseline in force is known.
func printLearning(out io.Writer, l *view.Learning) error {
	if l == nil {
		return nil
	}
	fmt.Fprintf(out, "  baseline in force: %s\n", l.Phase)
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "  point\taccepted\tsettled\tspread\tunit\thours\tphase\ttemperature")
	for _, p := range l.Points {
		settled := "-"
		if p.Level.Hours > 0 {
			settled = fmt.Sprintf("%.2f", p.Level.Settled)
		}
		fmt.Fprintf(w, "  %s\t%.2f\t%s\t%.3f\t%s\t%d\t%s\t%s\n", p.Point, p.Level.Value, settled, p.Level.Spread, orDash(p.Symbol), p.Hours, p.Phase, orDash(p.Temperature))
	}
	if err := w.Flush(); err != nil {
		return err
	}
	for _, p := range l.Points {
		if p.Level.Note != "" {
			fmt.Fprintf(out, "  %s: %s\n", p.Point, p.Level.Note)
		}
		printList(out, "  "+p.Point+" stays "+p.Phase, p.Reasons)
	}
	return nil
}

func yes(ok bool, reason string) string {
	if ok {
		return "yes"
	}
	return "no: " + reason
}

type commissionBeginCmd struct{ commissioned }

// Run begins a capture.
func (c commissionBeginCmd) Run(s *streams) error {
	return c.call(s, "POST", "commissioning/begin", nil, map[string]any{})
}

type commissionShowCmd struct{ commissioned }

// Run shows a capture.
func (c commissionShowCmd) Run(s *streams) error {
	return c.call(s, "GET", "commissioning", url.Values{"resource": {c.resource()}}, nil)
}

type commissionAcceptCmd struct {
	commissioned
	Reason string `help:"Why; needed with --force and where a baseline is in force already."`
	Force  bool   `help:"Accept a capture that is not ready; recorded with what speaks against it."`
}

// Run accepts a capture.
func (c commissionAcceptCmd) Run(s *streams) error {
	if c.Force && c.Reason == "" {
		return exit.Usage(errors.New("--force needs --reason: it is recorded with the baseline"))
	}
	body := map[string]any{"force": c.Force}
	if c.Reason != "" {
		body["reason"] = c.Reason
	}
	return c.call(s, "POST", "commissioning/accept", nil, body)
}
