package snmp

import (
	"errors"
	"fmt"
	"slices"
	"time"

	"go.uber.org/zap"

	"lightwell/collector"
	"lightwell/collector/model"
	"lightwell/collector/snmp/engine"
	"lightwell/collector/snmp/get"
)

// A poll is one unit being read: a chain of questions to the engine, one GET
// each. The engine's goroutines drive it; at any time only one of them or the
// one that began it holds it. It is used again when it has ended.
type poll struct {
	client   *Client
	unit     collector.Unit
	plan     *plan // nil: of Identify
	account  *credentials
	peer     *peer
	question engine.Question
	answers  []get.Answer
	values   [8]model.Value // room to decode in
	parts    []part         // still to be answered; the first is under way
	pdu      []byte         // room for the request
	ids      [recentIDs]int32
	sent     int // ids used, the latest of them in ids
	renewals int
	met      bool // the unit has told its engine id but not answered since
	status   int32
	index    int32
	aside    error // why something did not count
	failure  error
	arrived  time.Time // when the last answer came
	over     func(p *poll, err error)
	ended    chan error                       // of a poll that somebody waits for
	done     func([]collector.Reading, error) // of one that nobody does
}

// recentIDs is how many ids of a poll are known again in late answers.
const recentIDs = 8

// maxRenewals is how often one request is made anew because the unit has told
// its engine id or clock: once each to discover and to learn the clock, and
// once more for a unit that restarts meanwhile.
const maxRenewals = 3

// errStale: the late or repeated answer to an earlier request.
var errStale = errors.New("answer to an earlier request")

var _ engine.Dialect = (*poll)(nil)

// ask hands the first of the parts to the engine. p must not be touched
// afterwards: the engine holds it.
func (p *poll) ask() {
	p.renewals = 0
	if err := p.client.engine.Ask(&p.question); err != nil {
		p.finish(p.client.named(p.explain(err), p.unit))
	}
}

// Message of engine.Dialect.
func (p *poll) Message(dst []byte, id int32, now time.Time) ([]byte, error) {
	if p.sent == 0 || p.ids[(p.sent-1)%recentIDs] != id {
		p.ids[p.sent%recentIDs] = id
		p.sent++
	}
	p.pdu = p.parts[0].request.Append(p.pdu[:0], id)
	return p.account.seal(dst, p.peer, id, p.pdu, now), nil
}

// Answer of engine.Dialect.
func (p *poll) Answer(b []byte, id int32, now time.Time) engine.Verdict {
	pdu, err := p.open(b, id, now)
	if err == nil {
		err = p.read(pdu, id)
	}
	if err == nil {
		p.arrived = now
		return engine.Taken
	}
	return p.judge(err)
}

func (p *poll) judge(err error) engine.Verdict {
	var final *Error
	var more *again
	switch {
	case errors.As(err, &final):
		p.failure = err
		return engine.Failed
	case errors.As(err, &more):
		if p.renewals++; p.renewals <= maxRenewals {
			return engine.Again
		}
		p.failure = &Error{Cause: more.reason.cause, Detail: more.Error() + " to every message"}
		return engine.Failed
	}
	p.setAside(err)
	return engine.Aside
}

func (p *poll) setAside(err error) {
	if !errors.Is(err, errStale) {
		p.aside = err
	}
	if e := p.client.log.Check(zap.DebugLevel, "datagram set aside"); e != nil {
		e.Write(zap.String("unit", p.unit.ID), zap.Error(err))
	}
}

// Misfit of engine.Dialect: only the first is looked into, so that a flood of
// them costs little.
func (p *poll) Misfit(b []byte, id int32, now time.Time) {
	switch got, ok := messageID(b); {
	case ok && (slices.Contains(p.ids[:min(p.sent, recentIDs)], got) || p.peer.asked(got)):
		p.setAside(errStale)
	case p.aside == nil:
		pdu, err := p.open(b, id, now)
		if err == nil {
			_, err = readResponse(pdu, id, p.parts[0].request.Objects())
		}
		if err == nil {
			err = errRequestID
		}
		p.setAside(err)
	}
}

// Fault of engine.Dialect.
func (p *poll) Fault() error {
	if p.failure != nil {
		return p.failure
	}
	return p.aside
}

// read takes the values of an answer. What is out of the ordinary is decoded
// by gosnmp.
func (p *poll) read(pdu []byte, id int32) error {
	now := &p.parts[0]
	p.status, p.index = noError, 0
	if now.request.Read(pdu, id, p.answers, now.at) {
		return nil
	}
	r, err := readResponse(pdu, id, now.request.Objects())
	if err != nil {
		return err
	}
	p.status, p.index = r.status, r.index
	for i, f := range r.fields {
		a := &p.answers[now.at[i]]
		a.Value, a.Note = value(f)
	}
	return nil
}

// goOn follows the end of a question: the next part is asked for, or the poll
// has ended.
func (p *poll) goOn(_ *engine.Question, err error) {
	if err == nil {
		p.aside = nil
		err = p.advance()
	} else {
		err = p.explain(err)
	}
	switch {
	case err != nil:
		p.finish(p.client.named(err, p.unit))
	case len(p.parts) == 0:
		p.finish(nil)
	default:
		p.ask()
	}
}

// advance makes of an answer what is to be asked for next. An object that the
// unit refuses gets a note and no value, and the rest is asked for again; an
// answer that is too big is asked for in halves. So there are at most two
// requests for each object.
func (p *poll) advance() error {
	now, n := p.parts[0], len(p.parts[0].at)
	index := int(p.index)
	switch {
	case p.status == noError:
		p.parts = p.parts[1:]
		return nil
	case p.status == authorizationError:
		return &Error{Cause: NotAuthorised, Detail: "the unit answers " + statusName(p.status)}
	case p.status == tooBig && n > 1:
		p.parts = append([]part{now.only(0, n/2), now.only(n/2, n)}, p.parts[1:]...)
		return nil
	case p.status == tooBig, index == 0 && n == 1:
		index = 1
	case index == 0:
		return &Error{Cause: ErrorStatus, Detail: "the unit answers " + statusName(p.status)}
	}
	p.answers[now.at[index-1]] = get.Answer{Note: "the unit answers " + statusName(p.status)}
	if p.parts = slices.Clone(p.parts); n == 1 {
		p.parts = p.parts[1:]
	} else {
		p.parts[0] = now.without(index - 1)
	}
	return nil
}

// explain says what it means that a question has ended without an answer.
func (p *poll) explain(err error) error {
	var final *Error
	var network *engine.Undelivered
	switch {
	case errors.Is(err, engine.ErrClosed):
		return ErrClosed
	case errors.Is(err, engine.ErrCancelled), errors.As(err, &final), !errors.Is(err, engine.ErrSilent):
		return err
	case p.aside != nil:
		return &Error{Cause: NotFitting, Err: p.aside}
	case errors.As(err, &network) && networkCause(network) != "":
		return &Error{Cause: networkCause(network), Err: network.Err}
	}
	return &Error{Cause: p.silent(), Detail: fmt.Sprintf("%d tries of %s", p.client.tries, p.client.timeout)}
}

// finish tells the end. p must not be touched afterwards.
func (p *poll) finish(err error) {
	p.peer.remember(p, err)
	p.over(p, err)
}
