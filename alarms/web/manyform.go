package web

import (
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"go.uber.org/zap"

	"lightwell/alarms"
)

// manyForm does one action with the alarms that are chosen in the list.
func (s *Server) manyForm(w http.ResponseWriter, r *http.Request) {
	do := r.PostFormValue("do")
	if !isDeed(do) {
		s.problem(w, r, http.StatusBadRequest, "the form does not say what to do with the alarms")
		return
	}
	op, err := formOperation(r, do)
	if err != nil {
		s.faulty(w, r, err)
		return
	}
	targets, err := picked(r.PostForm["pick"])
	if err != nil {
		s.faulty(w, r, err)
		return
	}
	done, err := s.cfg.Alarms.Act(do, targets, op)
	if err != nil {
		s.faulty(w, r, err)
		return
	}
	s.hub.changed()
	s.cfg.Log.Info("operator action with many alarms", zap.Int("alarms", len(targets)), zap.String("kind", do), zap.String("by", op.Operator))
	if said := refused(targets, done); said != "" {
		s.problem(w, r, http.StatusConflict, said)
		return
	}
	goBack(w, r, "/alarms")
}

// picked reads what boxes of the list say: id and version as seen.
func picked(boxes []string) ([]alarms.Target, error) {
	if len(boxes) == 0 {
		return nil, &fault{http.StatusBadRequest, "no alarm is chosen: tick the boxes of those you mean"}
	}
	out := make([]alarms.Target, len(boxes))
	for i, box := range boxes {
		id, text, _ := strings.Cut(box, ":")
		version, err := strconv.ParseUint(text, 10, 64)
		if err != nil {
			return nil, &fault{http.StatusBadRequest, "the form is not one that this page gave"}
		}
		out[i] = alarms.Target{ID: id, IfVersion: version}
	}
	return out, nil
}

// refused tells which alarms an action was not done with, and why.
func refused(targets []alarms.Target, done []alarms.Outcome) string {
	var said []string
	for i, o := range done {
		if o.Err == nil {
			continue
		}
		name := targets[i].ID
		if o.Alarm.Text != "" {
			name = o.Alarm.Text
		}
		said = append(said, name+": "+o.Err.Error())
	}
	if len(said) == 0 {
		return ""
	}
	return strconv.Itoa(len(done)-len(said)) + " of " + plural(len(done), "alarm") + " done; not done for " + strings.Join(said, "; ")
}

// loadView is how many alarms people were given to handle.
type loadView struct {
	alarms.LoadFigures
	Chatter []loadSource
	Now     bool // a flood goes on
}

// loadSource is an alarm that comes and goes, with its page in the list.
type loadSource struct{ Resource, Type, Href string }

func newLoadView(l alarms.LoadFigures) loadView {
	v := loadView{LoadFigures: l}
	for _, k := range l.Chattering {
		v.Chatter = append(v.Chatter, loadSource{k.Resource, k.Type, "/alarms?" + url.Values{"state": {"all"}, "resource": {k.Resource}, "type": {k.Type}}.Encode()})
	}
	v.Now = len(l.Floods) > 0 && l.Floods[len(l.Floods)-1].End.IsZero()
	return v
}
