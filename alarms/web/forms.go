package web

import (
	"context"
	"errors"
	"net/http"
	"strconv"
	"time"

	"go.uber.org/zap"

	"lightwell/alarms"
	"lightwell/alarms/baseline"
	"lightwell/alarms/notify"
	"lightwell/alarms/visit"
	"lightwell/alarms/web/access"
	"lightwell/collector/state"
)

// act does what a person wants with an alarm, and tells open pages.
func (s *Server) act(do, id string, op alarms.Operation) (alarms.Alarm, error) {
	out, err := s.cfg.Alarms.Act(do, []alarms.Target{{ID: id, IfVersion: op.IfVersion}}, op)
	if err == nil {
		err = out[0].Err
	}
	if err != nil {
		return alarms.Alarm{}, err
	}
	s.hub.changed()
	s.cfg.Log.Info("operator action", zap.String("alarm", id), zap.String("kind", do), zap.String("by", op.Operator))
	return out[0].Alarm, nil
}

func (s *Server) alarmForm(w http.ResponseWriter, r *http.Request) {
	id, do := r.PathValue("id"), r.PostFormValue("do")
	if !isDeed(do) {
		s.problem(w, r, http.StatusBadRequest, "the form does not say what to do with the alarm")
		return
	}
	var version uint64 // 0: any
	if text := r.PostFormValue("version"); text != "" {
		var err error
		if version, err = strconv.ParseUint(text, 10, 64); err != nil {
			s.problem(w, r, http.StatusBadRequest, "the version in the form is not a number")
			return
		}
	}
	op, err := formOperation(r, do)
	if err != nil {
		s.faulty(w, r, err)
		return
	}
	op.IfVersion = version
	if _, err := s.act(do, id, op); err != nil {
		status := statusOf(err)
		if status == http.StatusPreconditionFailed {
			status = http.StatusConflict
		}
		s.problem(w, r, status, s.reason(err, status))
		return
	}
	goBack(w, r, "/alarms/"+id)
}

// formOperation reads from a form what somebody wants done with alarms.
func formOperation(r *http.Request, do string) (alarms.Operation, error) {
	op := operation(r.Context(), r.PostFormValue("text"))
	if do == "shelve" {
		length, err := time.ParseDuration(r.PostFormValue("for"))
		if err != nil || length <= 0 {
			return op, &fault{http.StatusBadRequest, "the form does not say for how long to shelve"}
		}
		op.Until = op.Now.Add(length)
	}
	return op, nil
}

// goBack leads to the page that a form came from, or to another.
func goBack(w http.ResponseWriter, r *http.Request, other string) {
	back := r.PostFormValue("back")
	if !local(back) {
		back = other
	}
	http.Redirect(w, r, back, http.StatusSeeOther)
}

func (s *Server) pollForm(w http.ResponseWriter, r *http.Request) {
	id := r.PathValue("id")
	if err := s.pollNow(access.Who(r.Context()), id); err != nil {
		s.problem(w, r, statusOf(err), err.Error())
		return
	}
	http.Redirect(w, r, "/units/"+id, http.StatusSeeOther)
}

func (s *Server) commissionForm(w http.ResponseWriter, r *http.Request) {
	id, by := r.PathValue("id"), access.Who(r.Context())
	var err error
	switch r.PostFormValue("do") {
	case "begin":
		err = s.begin([]string{id}, by)
	case "accept":
		err = s.accept([]string{id}, by, r.PostFormValue("reason"), r.PostFormValue("force") == "yes")
	default:
		s.problem(w, r, http.StatusBadRequest, "the form does not say whether to begin or to accept")
		return
	}
	if err != nil {
		status := statusOf(err)
		s.problem(w, r, status, s.reason(err, status))
		return
	}
	http.Redirect(w, r, "/units/"+id+"#baseline", http.StatusSeeOther)
}

// Errors of asking for a poll.
var (
	errNoUnit    = errors.New("the fleet has no such unit")
	errBusy      = errors.New("too many requests for polls wait already; try again in a moment")
	errNoCapture = errors.New("no unit needs a new baseline after this visit")
	errNoLog     = errors.New("the log cannot be read now; try again when the state is reachable")
)

func (s *Server) pollNow(by access.Person, unit string) error {
	u, ok := s.cfg.Fleet().Unit(unit)
	if !ok {
		return errNoUnit
	}
	if !s.cfg.Poller.PollNow(unit) {
		return errBusy
	}
	s.record(by, "poll-asked", "unit/"+unit, u.Site)
	return nil
}

func (s *Server) begin(units []string, by access.Person) error {
	if err := s.cfg.Baselines.Begin(units, by.Name, time.Now()); err != nil {
		return err
	}
	s.hub.changed()
	s.recordUnits(by, "baseline-capture-begun", units, "")
	return nil
}

func (s *Server) accept(units []string, by access.Person, reason string, force bool) error {
	if err := s.cfg.Baselines.Accept(units, by.Name, reason, force, time.Now()); err != nil {
		return err
	}
	s.hub.changed()
	what := "baseline-accepted"
	if force {
		what = "baseline-forced"
	}
	s.recordUnits(by, what, units, reason)
	return nil
}

// statusOf maps an error of the sources to a status; what it does not know is
// our own fault.
func statusOf(err error) int {
	for status, known := range map[int][]error{
		http.StatusNotFound:            {alarms.ErrNoAlarm, alarms.ErrNoShelf, baseline.ErrUnknownUnit, errNoUnit, notify.ErrNoEndpoint, visit.ErrUnknown},
		http.StatusPreconditionFailed:  {alarms.ErrChanged},
		http.StatusConflict:            {alarms.ErrShelved, alarms.ErrNotShelved, baseline.ErrNotBegun, baseline.ErrNoSamples, baseline.ErrNotReady, baseline.ErrNoVisit, visit.ErrConflict, visit.ErrOver, errNoCapture},
		http.StatusUnprocessableEntity: {alarms.ErrOperation, baseline.ErrNoReason, baseline.ErrNoName, baseline.ErrNoUnits, visit.ErrRequest},
		http.StatusServiceUnavailable:  {errBusy, errNoLog, alarms.ErrNotStored, baseline.ErrNotStored, visit.ErrNotStored, state.ErrUnreachable, state.ErrFull, context.DeadlineExceeded},
	} {
		for _, k := range known {
			if errors.Is(err, k) {
				return status
			}
		}
	}
	return http.StatusInternalServerError
}

// reason is what a person is told; an inner fault goes to the log only.
func (s *Server) reason(err error, status int) string {
	if status != http.StatusInternalServerError {
		return err.Error()
	}
	s.cfg.Log.Error("request failed", zap.Error(err))
	return "something went wrong here; the log says what"
}
