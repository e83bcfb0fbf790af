package main

import (
	"fmt"
	"net/url"
	"text/tabwriter"
	"time"

	"lightwell/alarms"
	"lightwell/alarms/web"
	"lightwell/cmd/exit"
)

// tidying is what purge and compress share.
type tidying struct {
	serverFlags
	Clearance string        `enum:"cleared,not-cleared,any" default:"cleared" help:"cleared, not-cleared or any."`
	OlderThan time.Duration `help:"Last changed longer ago than this, such as 720h." placeholder:"DURATION"`
	Below     string        `enum:",minor,major,critical" default:"" help:"Severity strictly below this: minor, major or critical."`
	Operator  string        `enum:",none,ack,closed,un-shelved" default:"" help:"In this operator state: none, ack, closed or un-shelved."`
	Site      string        `help:"Of this site only."`
	Resource  string        `help:"This resource and all below it, such as unit/ID."`
	Type      string        `help:"Of this type only."`
	Text      string        `short:"t" help:"Kept with the action."`
}

func (c tidying) do(s *streams, verb, done string) error {
	api, err := c.client()
	if err != nil {
		return err
	}
	body := web.Tidying{
		Clearance: alarms.Clearance(c.Clearance), Below: c.Below, Operator: alarms.OperatorState(c.Operator),
		Site: c.Site, Resource: c.Resource, Type: c.Type, Text: c.Text,
	}
	if c.OlderThan > 0 {
		body.ChangedBefore = time.Now().Add(-c.OlderThan).UTC()
	}
	var out web.Tidied
	if err := api.call(s.ctx, "POST", "alarms/"+verb, nil, body, &out); err != nil {
		return err
	}
	fmt.Fprintf(s.out, "%d alarms %s\n", out.Alarms, done)
	return nil
}

type purgeCmd struct{ tidying }

// Help is printed by purge --help.
func (purgeCmd) Help() string {
	return `Removes alarms from the list, those that have cleared unless told otherwise; shelved ones stay. What happened to them stays in the log. An active alarm that is purged comes back when its rule judges it next. Needs the role administer.

Example: lightwell alarms purge --older-than 720h`
}

// Run purges.
func (c purgeCmd) Run(s *streams) error { return c.do(s, "purge", "purged") }

type compressCmd struct{ tidying }

// Help is printed by compress --help.
func (compressCmd) Help() string {
	return `Forgets all status changes of alarms but the latest. The log keeps them. Needs the role administer.

Example: lightwell alarms compress --clearance any --site north-quay`
}

// Run compresses.
func (c compressCmd) Run(s *streams) error { return c.do(s, "compress", "compressed") }

// shelfCmd groups what can be done with shelves.
type shelfCmd struct {
	List   shelfListCmd   `cmd:"" default:"withargs" help:"List the shelves."`
	Put    shelfPutCmd    `cmd:"" help:"Add a shelf, or put one in the place of that with its name."`
	Remove shelfRemoveCmd `cmd:"" help:"Take a shelf away; its alarms return."`
}

type shelfListCmd struct {
	serverFlags
	outputFlag
}

// Run lists.
func (c shelfListCmd) Run(s *streams) error {
	api, err := c.client()
	if err != nil {
		return err
	}
	shelves, err := all[alarms.Shelf](s.ctx, api, "shelves", url.Values{})
	if err != nil {
		return err
	}
	if c.Output == "json" {
		return writeJSON(s.out, shelves)
	}
	if len(shelves) == 0 {
		fmt.Fprintln(s.out, "no shelves")
		return nil
	}
	w := tabwriter.NewWriter(s.out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "name\tuntil\tby\tsite\tresource\ttype\ttext")
	for _, f := range shelves {
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\t%s\t%s\n", f.Name, f.Until.UTC().Format(clock), f.Operator, f.Site, f.Resource, f.Type, f.Text)
	}
	return w.Flush()
}

type shelfPutCmd struct {
	serverFlags
	Name      string        `arg:"" help:"Name of the shelf."`
	For       time.Duration `required:"" help:"How long, such as 24h; at most 30 days." placeholder:"DURATION"`
	Site      string        `help:"Alarms of this site."`
	Resource  string        `help:"Alarms of this resource and all below it, such as unit/ID."`
	Type      string        `help:"Alarms of this type."`
	Qualifier string        `help:"Alarms with this qualifier."`
	Text      string        `short:"t" help:"Why."`
}

// Help is printed by put --help.
func (shelfPutCmd) Help() string {
	return `A shelf takes every alarm that fits all its criteria, those that are there and those to come, until it ends. Nobody is told of them meanwhile.

Example: lightwell alarms shelf put roof-works --resource unit/nq-roof --for 8h --text "crane on the roof"`
}

// Run puts.
func (c shelfPutCmd) Run(s *streams) error {
	if c.For <= 0 {
		return exit.Usage(fmt.Errorf("--for %s: must be longer than zero", c.For))
	}
	if c.Site+c.Resource+c.Type+c.Qualifier == "" {
		return exit.Usage(fmt.Errorf("shelf %q has no criterion and would take every alarm: name a site, resource, type or qualifier", c.Name))
	}
	api, err := c.client()
	if err != nil {
		return err
	}
	until := time.Now().Add(c.For).UTC().Round(time.Second)
	body := web.NewShelf{Name: c.Name, Site: c.Site, Resource: c.Resource, Type: c.Type, Qualifier: c.Qualifier, Until: until, Text: c.Text}
	if err := api.call(s.ctx, "POST", "shelves", nil, body, nil); err != nil {
		return err
	}
	fmt.Fprintf(s.out, "shelf %s until %s\n", c.Name, until.Format(clock))
	return nil
}

type shelfRemoveCmd struct {
	serverFlags
	Name string `arg:"" help:"Name of the shelf."`
}

// Run removes.
func (c shelfRemoveCmd) Run(s *streams) error {
	api, err := c.client()
	if err != nil {
		return err
	}
	if err := api.call(s.ctx, "POST", "shelves/"+url.PathEscape(c.Name)+"/remove", nil, nil, nil); err != nil {
		return err
	}
	fmt.Fprintf(s.out, "shelf %s is gone\n", c.Name)
	return nil
}
