package main

import (
	"fmt"
	"io"
	"net/url"
	"text/tabwriter"
	"time"

	"lightwell/alarms/notify"
	"lightwell/alarms/web"
)

// webhooksCmd groups what can be done with the webhooks of a running daemon.
type webhooksCmd struct {
	List   webhooksListCmd   `cmd:"" default:"withargs" help:"Show how receivers stand and what waits for them or was given up."`
	Resend webhooksResendCmd `cmd:"" help:"Send what was given up again."`
	Drop   webhooksDropCmd   `cmd:"" help:"Forget what was given up."`
	Resume webhooksResumeCmd `cmd:"" help:"Send to a receiver again that wanted no more (it answered 410)."`
}

type webhooksListCmd struct {
	serverFlags
	outputFlag
	Endpoint string `help:"Of this endpoint only."`
	State    string `enum:"pending,dead,all" default:"all" help:"pending, dead or all."`
}

// Run lists.
func (c webhooksListCmd) Run(s *streams) error {
	api, err := c.client()
	if err != nil {
		return err
	}
	stats, err := all[notify.Stats](s.ctx, api, "webhooks", url.Values{})
	if err != nil {
		return err
	}
	query := url.Values{"state": {c.State}}
	if c.Endpoint != "" {
		query.Set("endpoint", c.Endpoint)
	}
	waiting, err := all[web.Delivery](s.ctx, api, "deliveries", query)
	if err != nil {
		return err
	}
	if c.Output == "json" {
		return writeJSON(s.out, map[string]any{"endpoints": stats, "deliveries": waiting})
	}
	return printWebhooks(s.out, stats, waiting, time.Now())
}

func printWebhooks(out io.Writer, endpoints []notify.Stats, waiting []web.Delivery, now time.Time) error {
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "endpoint\tstate\tdelivered\tpending\tdead\tlast error")
	for _, e := range endpoints {
		fmt.Fprintf(w, "%s\t%s\t%d\t%d\t%d\t%s\n", e.Endpoint, e.State, e.Delivered, e.Pending, e.Dead, e.LastError)
	}
	if len(waiting) > 0 {
		fmt.Fprintln(w, "\nid\tendpoint\tstate\tage\tattempts\ttype\treason")
	}
	for _, d := range waiting {
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%d\t%s\t%s\n", d.ID, d.Endpoint, d.State, since(now, d.Created), d.Attempts, d.Type, d.Reason)
	}
	return w.Flush()
}

// givenUp names messages that were given up.
type givenUp struct {
	serverFlags
	Endpoint string   `arg:"" help:"Name of the endpoint."`
	IDs      []string `arg:"" optional:"" name:"id" help:"Ids of what was given up, as the list shows them; without them all of the endpoint."`
}

type webhooksResendCmd struct{ givenUp }

// Run resends.
func (c webhooksResendCmd) Run(s *streams) error {
	return c.do(s, "resend", "are on their way again to")
}

type webhooksDropCmd struct{ givenUp }

// Run drops.
func (c webhooksDropCmd) Run(s *streams) error { return c.do(s, "drop", "are forgotten that were for") }

func (c givenUp) do(s *streams, verb, done string) error {
	api, err := c.client()
	if err != nil {
		return err
	}
	body := map[string]any{"endpoint": c.Endpoint}
	if len(c.IDs) > 0 {
		body["ids"] = c.IDs
	}
	var sent web.Resent
	if err := api.call(s.ctx, "POST", "deliveries/"+verb, nil, body, &sent); err != nil {
		return err
	}
	fmt.Fprintf(s.out, "%d %s %s\n", sent.Deliveries, done, c.Endpoint)
	return nil
}

type webhooksResumeCmd struct {
	serverFlags
	Endpoint string `arg:"" help:"Name of the endpoint."`
}

// Run resumes.
func (c webhooksResumeCmd) Run(s *streams) error {
	api, err := c.client()
	if err != nil {
		return err
	}
	if err := api.call(s.ctx, "POST", "webhooks/"+url.PathEscape(c.Endpoint)+"/resume", nil, nil, nil); err != nil {
		return err
	}
	fmt.Fprintf(s.out, "%s is sent to again\n", c.Endpoint)
	return nil
}
