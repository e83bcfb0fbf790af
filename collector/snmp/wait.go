package snmp

import (
	"context"
	"errors"
	"fmt"
	"time"

	"lightwell/collector"
	"lightwell/collector/snmp/engine"
	"lightwell/collector/snmp/get"
)

func (c *Client) newPoll() *poll {
	p := &poll{client: c, ended: make(chan error, 1)}
	p.question = engine.Question{Dialect: p, Done: p.goOn}
	return p
}

// release gives back a poll that has ended.
func (c *Client) release(p *poll) {
	clear(p.answers)
	p.unit, p.plan, p.peer, p.account, p.parts = collector.Unit{}, nil, nil, nil, nil
	p.sent, p.met, p.aside, p.failure, p.done = 0, false, nil, nil, nil
	p.question = engine.Question{Dialect: p, Done: p.question.Done}
	c.polls.Put(p)
}

// prepare makes a poll ready to be asked; named tells that the unit's name must
// be resolved first.
func (c *Client) prepare(u collector.Unit, plan *plan, over func(*poll, error)) (p *poll, named bool, err error) {
	a, ok := c.credentials[u.Credentials]
	if !ok {
		return nil, false, c.named(&Error{Cause: NoCredentials, Detail: fmt.Sprintf("%q", u.Credentials)}, u)
	}
	p = c.polls.Get().(*poll)
	p.unit, p.plan, p.account, p.over = u, plan, a, over
	p.peer, p.parts = c.peerOf(&u, a), plan.parts
	if n := len(plan.oids); cap(p.answers) < n {
		p.answers = make([]get.Answer, n)
	} else {
		p.answers = p.answers[:n]
	}
	to, dead, ok := p.peer.address(time.Now())
	p.question.To, p.question.Silent = to, dead
	return p, !ok, nil
}

// resolveAndAsk is the way of a poll whose unit has a name.
func (c *Client) resolveAndAsk(p *poll) {
	if err := c.resolve(c.closed, p); err != nil {
		p.finish(err)
		return
	}
	p.ask()
}

func (c *Client) resolve(ctx context.Context, p *poll) error {
	err := p.peer.resolve(ctx, p.unit.Address, c.timeout*time.Duration(c.tries))
	switch {
	case c.closed.Err() != nil:
		err = ErrClosed
	case ctx.Err() != nil:
		err = context.Cause(ctx)
	}
	if err != nil {
		return c.named(err, p.unit)
	}
	p.question.To, p.question.Silent, _ = p.peer.address(time.Now())
	return nil
}

// tell ends a poll that somebody waits for.
func tell(p *poll, err error) { p.ended <- err }

// wait reads a unit and returns the poll, to be released.
func (c *Client) wait(ctx context.Context, u collector.Unit, plan *plan) (*poll, error) {
	if ctx.Err() != nil {
		return nil, c.named(context.Cause(ctx), u)
	}
	p, named, err := c.prepare(u, plan, tell)
	if err != nil {
		return nil, err
	}
	if named {
		if err := c.resolve(ctx, p); err != nil {
			c.release(p)
			return nil, err
		}
	}
	p.ask()
	select {
	case err = <-p.ended:
	case <-ctx.Done():
		c.engine.Cancel(&p.question)
		if err = <-p.ended; errors.Is(err, engine.ErrCancelled) {
			err = c.named(context.Cause(ctx), u)
		}
	}
	if err != nil {
		c.release(p)
		return nil, err
	}
	return p, nil
}
