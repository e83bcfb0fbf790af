package main

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"lightwell/alarms/web"
	"lightwell/cmd/exit"
)

// action is what all commands share that do something to alarms.
type action struct {
	serverFlags
	IDs  []string `arg:"" name:"id" help:"Ids of the alarms, as the list shows them. ID@VERSION acts only if the alarm still has that version, as show prints it."`
	Text string   `short:"t" help:"Kept with the action."`
}

// seen reads ID or ID@VERSION.
func seen(arg string) (web.SeenAlarm, error) {
	id, version, conditional := strings.Cut(arg, "@")
	a := web.SeenAlarm{ID: id}
	if conditional {
		if _, err := fmt.Sscan(version, &a.Version); err != nil || a.Version == 0 {
			return a, exit.Usage(fmt.Errorf("%q: write the version behind @ as show prints it", arg))
		}
	}
	return a, nil
}

// do acts on all alarms in one request and tells what became of each.
func (a action) do(s *streams, what string, until time.Time) error {
	api, err := a.client()
	if err != nil {
		return err
	}
	body := web.Together{Action: what, Text: a.Text, Until: until}
	for _, arg := range a.IDs {
		target, err := seen(arg)
		if err != nil {
			return err
		}
		body.Alarms = append(body.Alarms, target)
	}
	var after web.Acted
	if err := api.call(s.ctx, "POST", "alarms/actions", nil, body, &after); err != nil {
		return err
	}
	var refused []error
	for _, item := range after.Items {
		if item.Done {
			fmt.Fprintf(s.out, "%s %s: %s\n", item.Type, item.Resource, item.Operator)
		} else {
			refused = append(refused, errors.New(item.Detail))
		}
	}
	return errors.Join(refused...)
}

type acknowledgeCmd struct{ action }

// Run acknowledges.
func (c acknowledgeCmd) Run(s *streams) error { return c.do(s, "acknowledge", time.Time{}) }

type closeCmd struct{ action }

// Run closes.
func (c closeCmd) Run(s *streams) error { return c.do(s, "close", time.Time{}) }

type reopenCmd struct{ action }

// Run reopens.
func (c reopenCmd) Run(s *streams) error { return c.do(s, "reopen", time.Time{}) }

type commentCmd struct{ action }

// Run comments.
func (c commentCmd) Run(s *streams) error { return c.do(s, "comment", time.Time{}) }

type unshelveCmd struct{ action }

// Run takes it off the shelf.
func (c unshelveCmd) Run(s *streams) error { return c.do(s, "unshelve", time.Time{}) }

type alarmsShelveCmd struct {
	action
	For time.Duration `required:"" help:"How long, such as 2h or 24h." placeholder:"DURATION"`
}

// Run shelves.
func (c alarmsShelveCmd) Run(s *streams) error {
	if c.For <= 0 {
		return exit.Usage(fmt.Errorf("--for %s: must be longer than zero", c.For))
	}
	return c.do(s, "shelve", time.Now().Add(c.For).UTC())
}
