package main

import (
	"errors"
	"fmt"
	"io"
	"net/url"
	"strconv"
	"strings"
	"text/tabwriter"
	"time"

	"lightwell/alarms/visit"
	"lightwell/cmd/exit"
)

// visitCmd groups what is recorded of visits to sites.
type visitCmd struct {
	Begin visitBeginCmd `cmd:"" help:"Begin a visit: alarms of what is worked on are held back."`
	End   visitEndCmd   `cmd:"" help:"End a visit and say what was found and done."`
	List  visitListCmd  `cmd:"" help:"List visits, newest first."`
	Show  visitShowCmd  `cmd:"" help:"Show a visit as proof of repair: every level before and after."`
}

// Help is printed by visit --help.
func (visitCmd) Help() string {
	return `While a visit is open its alarms are planned work. A site has one open visit at a time. One that nobody ends is ended by itself after its limit. The levels after a visit are read for ten minutes after its end; until then they are provisional.

Example: lightwell visit begin north-quay --by "Kim" --reason "weak downlink of a2" --on link/a2
         lightwell visit end v17 --found "dirty connector at the rack" --done "cleaned, inspected"
         lightwell visit show v17`
}

type visitBeginCmd struct {
	serverFlags
	outputFlag
	Site   string        `arg:"" help:"Id of the site."`
	By     string        `required:"" help:"Who is there."`
	Reason string        `required:"" help:"Why."`
	On     []string      `help:"What is worked on: unit/ID, link/ID or cable/ID; without it, the whole site." placeholder:"RESOURCE"`
	Limit  time.Duration `default:"12h" help:"When it ends by itself: 10m to 72h."`
	Since  time.Duration `help:"How long ago it began, when it is recorded late: 2h." placeholder:"DURATION"`
}

// Run begins.
func (c visitBeginCmd) Run(s *streams) error {
	api, err := c.client()
	if err != nil {
		return err
	}
	if c.Limit < time.Minute || c.Since < 0 {
		return exit.Usage(errors.New("--limit is 10m or more, --since is not negative"))
	}
	body := map[string]any{"site": strings.TrimPrefix(c.Site, "site/"), "by": c.By, "reason": c.Reason, "resources": append([]string{}, c.On...), "limit_minutes": int(c.Limit / time.Minute)}
	if c.Since > 0 {
		body["at"] = time.Now().Add(-c.Since).UTC()
	}
	var v visit.Visit
	if err := api.call(s.ctx, "POST", "visits", nil, body, &v); err != nil {
		return err
	}
	if c.Output == "json" {
		return writeJSON(s.out, v)
	}
	fmt.Fprintf(s.out, "visit %s is open until %s at the latest; alarms of %s are held back\n", v.ID, v.Until.UTC().Format(clock), strings.Join(v.Resources, ", "))
	fmt.Fprintf(s.out, "when you leave: lightwell visit end %s --found \"...\" --done \"...\"\n", v.ID)
	return nil
}

type visitEndCmd struct {
	serverFlags
	outputFlag
	ID        string   `arg:"" help:"Id of the visit, such as v17."`
	Found     string   `required:"" help:"What was wrong."`
	Done      string   `required:"" help:"What was done about it."`
	Exchanged []string `help:"Units that were exchanged for others." placeholder:"UNIT"`
	Meter     []string `help:"What a power meter showed at a unit's plug, in dBm." placeholder:"UNIT[/PORT]=DBM[:EXPECTED]"`
}

// Run ends.
func (c visitEndCmd) Run(s *streams) error {
	api, err := c.client()
	if err != nil {
		return err
	}
	body := visit.End{Found: c.Found, Done: c.Done, Exchanged: c.Exchanged}
	for _, text := range c.Meter {
		m, err := parseMeter(text)
		if err != nil {
			return exit.Usage(err)
		}
		body.Meter = append(body.Meter, m)
	}
	return showProof(s, api, c.Output, "POST", "visits/"+url.PathEscape(c.ID)+"/end", body)
}

// parseMeter reads UNIT[/PORT]=DBM[:EXPECTED].
func parseMeter(text string) (m visit.Meter, err error) {
	at, values, ok := strings.Cut(text, "=")
	dbm, expected, both := strings.Cut(values, ":")
	m.Unit, m.Port, _ = strings.Cut(at, "/")
	if m.DBm, err = strconv.ParseFloat(dbm, 64); err == nil && both {
		m.Expected = new(float64)
		*m.Expected, err = strconv.ParseFloat(expected, 64)
	}
	if !ok || m.Unit == "" || err != nil {
		return m, fmt.Errorf("--meter %q: write UNIT=DBM, such as north-room=-3.2, or north-room/a=-3.2:-2.9 with a port and what was expected", text)
	}
	return m, nil
}

func showProof(s *streams, api *client, output, method, path string, body any) error {
	var p visit.Proof
	if err := api.call(s.ctx, method, path, nil, body, &p); err != nil {
		return err
	}
	if output == "json" {
		return writeJSON(s.out, p)
	}
	return p.WriteText(s.out)
}

type visitShowCmd struct {
	serverFlags
	outputFlag
	ID string `arg:"" help:"Id of the visit, such as v17."`
}

// Run shows.
func (c visitShowCmd) Run(s *streams) error {
	api, err := c.client()
	if err != nil {
		return err
	}
	return showProof(s, api, c.Output, "GET", "visits/"+url.PathEscape(c.ID), nil)
}

type visitListCmd struct {
	serverFlags
	outputFlag
	Site string `help:"Of this site only."`
	Open bool   `help:"Only those that are open, or whose levels are still being read."`
}

// Run lists.
func (c visitListCmd) Run(s *streams) error {
	api, err := c.client()
	if err != nil {
		return err
	}
	query := url.Values{}
	if c.Site != "" {
		query.Set("site", c.Site)
	}
	if c.Open {
		query.Set("open", "true")
	}
	list, err := all[visit.Visit](s.ctx, api, "visits", query)
	if err != nil {
		return err
	}
	if c.Output == "json" {
		return writeJSON(s.out, list)
	}
	return printVisits(s.out, list)
}

func printVisits(out io.Writer, list []visit.Visit) error {
	if len(list) == 0 {
		fmt.Fprintln(out, "no visits")
		return nil
	}
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "id\tstate\tsite\tbegun\tended\tby\twhy\tdone")
	for _, v := range list {
		ended := "-"
		if !v.Ended.IsZero() {
			ended = v.Ended.UTC().Format(clock)
		}
		if v.Forgotten {
			ended += " by itself"
		}
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\n", v.ID, v.State, v.Site, v.Begun.UTC().Format(clock), ended, v.By, v.Reason, orDash(v.Done))
	}
	return w.Flush()
}
