package main

import (
	"context"
	"fmt"
	"io"
	"strconv"
	"strings"
	"text/tabwriter"
	"time"

	"go.uber.org/zap"

	"lightwell/cmd/exit"
	"lightwell/cmd/lightwell/config"
	"lightwell/cmd/lightwell/daemon"
	"lightwell/collector"
	"lightwell/collector/document"
	"lightwell/collector/model"
	"lightwell/collector/snmp"
)

type readCmd struct {
	configFlag
	outputFlag
	Unit string `arg:"" help:"Id of the unit in the fleet file."`
}

// Help is printed by read --help.
func (readCmd) Help() string {
	return `Polls one unit once, over the network, without a running daemon, and prints every point with its object, raw value, value, unit, quality and age. When it fails it names the likely mistake and what to try.

Example: lightwell read north-room`
}

// readPoint is one line of the answer.
type readPoint struct {
	Point   string            `json:"point"`
	Object  string            `json:"object"`
	Raw     string            `json:"raw"`
	Value   *float64          `json:"value,omitempty"`
	State   string            `json:"state,omitempty"`
	Unit    string            `json:"unit,omitempty"`
	Quality collector.Quality `json:"quality"`
	Age     float64           `json:"age_seconds"`
	Note    string            `json:"note,omitempty"`
}

// Run polls and prints.
func (c readCmd) Run(s *streams) error {
	cfg, files, err := loadAll(c.Config)
	if err != nil {
		return err
	}
	unit, ok := files.Fleet.Unit(c.Unit)
	if !ok {
		var ids []string
		for _, u := range files.Fleet.Units {
			ids = append(ids, u.ID)
		}
		return exit.Hinted(exit.Usage(fmt.Errorf("unit %q is not in the fleet", c.Unit)), document.Nearest(c.Unit, ids))
	}
	client, err := newClient(cfg, files)
	if err != nil {
		return err
	}
	defer client.Close()
	started := time.Now()
	details, err := client.Read(s.ctx, unit)
	if err != nil {
		return exit.Hinted(err, snmp.Advice(err))
	}
	took := time.Since(started)
	if c.Output == "json" {
		return writeJSON(s.out, readPoints(details))
	}
	fmt.Fprintf(s.out, "%s  model %s  at %s  answered in %s\n\n", unit.ID, unit.Equipment.Model, unit.Address, took.Round(100*time.Microsecond))
	if err := printPoints(s.out, readPoints(details)); err != nil {
		return err
	}
	return recognise(s.ctx, s.out, client, files.Models, unit)
}

func newClient(cfg config.Config, files daemon.Files) (*snmp.Client, error) {
	sc := cfg.SNMP
	sc.Models, sc.Credentials = files.Models, cfg.Credentials
	return snmp.New(sc, zap.NewNop())
}

func readPoints(details []snmp.Detail) []readPoint {
	out := make([]readPoint, len(details))
	for i, d := range details {
		info, _ := d.Point.Quantity.Info()
		out[i] = readPoint{Point: d.Point.String(), Object: d.Object, Raw: d.Raw, Unit: info.Unit, Quality: d.Quality, Age: d.Age.Seconds(), Note: d.Note}
		if d.Quality == collector.Good {
			out[i].Value, out[i].State = &d.Value, d.State()
		}
	}
	return out
}

func printPoints(out io.Writer, points []readPoint) error {
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "point\tobject\traw\tvalue\tunit\tquality\tage\tnote")
	for _, p := range points {
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\n", p.Point, p.Object, orDash(p.Raw), orDash(p.text()), orDash(p.Unit), p.Quality, age(p.Age), p.Note)
	}
	return w.Flush()
}

func (p readPoint) text() string {
	if p.State != "" || p.Value == nil {
		return p.State
	}
	point, err := collector.ParsePoint(p.Point)
	if err != nil {
		return ""
	}
	info, _ := point.Quantity.Info()
	return strconv.FormatFloat(*p.Value, 'f', info.Decimals, 64)
}

func age(seconds float64) string {
	if seconds == 0 {
		return "now"
	}
	return (time.Duration(seconds * float64(time.Second))).Round(10 * time.Millisecond).String()
}

func orDash(s string) string {
	if s == "" {
		return "-"
	}
	return s
}

// recognise warns when the unit says it is something else than the fleet file
// claims. A unit read via another has no identity of its own to ask for.
func recognise(ctx context.Context, out io.Writer, client *snmp.Client, models *model.Set, unit collector.Unit) error {
	if unit.Via != "" {
		return nil
	}
	id, err := client.Identify(ctx, unit)
	if err != nil {
		return err
	}
	var names []string
	for _, m := range models.Recognised(id.ObjectID, id.Description) {
		if m.Name == unit.Equipment.Model {
			return nil
		}
		names = append(names, m.Name)
	}
	fmt.Fprintf(out, "\nnote: the unit says it is %q (sysObjectID %s), which model %s does not recognise", id.Description, id.ObjectID, unit.Equipment.Model)
	if len(names) > 0 {
		fmt.Fprintf(out, "; try model %s", strings.Join(names, " or "))
	}
	fmt.Fprintln(out)
	return nil
}
