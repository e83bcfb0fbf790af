package web

import (
	"context"
	"net/http"
	"slices"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"go.uber.org/zap"

	"lightwell/alarms"
	"lightwell/alarms/web/access"
)

// deeds are the operator actions by the word used in paths, forms and bodies.
var deeds = []string{"acknowledge", "close", "reopen", "comment", "shelve", "unshelve"}

func isDeed(word string) bool { return slices.Contains(deeds, word) }

// SeenAlarm is an alarm as somebody has seen it.
type SeenAlarm struct {
	ID      string `json:"id" minLength:"1" maxLength:"200"`
	Version uint64 `json:"version,omitempty" doc:"As last seen: the alarm is left alone when it has changed since. Without it the action is done in any case."`
}

// Together is one action with many alarms.
type Together struct {
	Action string      `json:"action" enum:"acknowledge,close,reopen,comment,shelve,unshelve"`
	Text   string      `json:"text,omitempty" maxLength:"1000" doc:"Kept with the action. A comment needs it."`
	Until  time.Time   `json:"until,omitzero" doc:"When shelved alarms return by themselves. Shelving needs it."`
	Alarms []SeenAlarm `json:"alarms" minItems:"1" maxItems:"500"`
}

// ActedOn is what became of one of many alarms.
type ActedOn struct {
	ID       string               `json:"id"`
	Resource string               `json:"resource,omitempty" doc:"Of the alarm, where something was done."`
	Type     string               `json:"type,omitempty"`
	Done     bool                 `json:"done"`
	Status   int                  `json:"status" doc:"What an action with this alarm alone would have answered: 200, 404, 409, 412 or 422."`
	Detail   string               `json:"detail,omitempty" doc:"Why nothing was done."`
	Version  uint64               `json:"version,omitempty" doc:"After the action."`
	Operator alarms.OperatorState `json:"operator_state,omitempty" doc:"After the action."`
}

// Acted is what became of many alarms, in the order of the request.
type Acted struct {
	Items   []ActedOn `json:"items"`
	Done    int       `json:"done"`
	Refused int       `json:"refused"`
}

// actMany does one action with many alarms and tells open pages. An error
// means that nothing was done at all.
func (s *Server) actMany(by access.Person, t Together) (Acted, error) {
	targets := make([]alarms.Target, len(t.Alarms))
	for i, a := range t.Alarms {
		targets[i] = alarms.Target{ID: a.ID, IfVersion: a.Version}
	}
	outcomes, err := s.cfg.Alarms.Act(t.Action, targets, alarms.Operation{Operator: by.Name, From: by.From, Text: t.Text, Until: t.Until, Now: time.Now()})
	if err != nil {
		return Acted{}, err
	}
	out := Acted{Items: make([]ActedOn, len(outcomes))}
	for i, o := range outcomes {
		item := ActedOn{ID: targets[i].ID, Resource: o.Alarm.Resource, Type: o.Alarm.Type, Done: o.Err == nil, Status: http.StatusOK, Version: o.Alarm.Version, Operator: o.Alarm.Operator}
		if o.Err != nil {
			item.Status = statusOf(o.Err)
			item.Detail = s.reason(o.Err, item.Status)
			out.Refused++
		} else {
			out.Done++
		}
		out.Items[i] = item
	}
	if out.Done > 0 {
		s.hub.changed()
	}
	s.cfg.Log.Info("operator action", zap.Int("alarms", out.Done), zap.Int("refused", out.Refused), zap.String("kind", t.Action), zap.String("by", by.Name))
	return out, nil
}

func (s *Server) registerTogether(api huma.API) {
	type input struct{ Body Together }
	write(s, api, access.Operate, "/alarms/actions", "alarms-act", "One action with many alarms; each is judged by itself", func(ctx context.Context, in *input) (*answer[Acted], error) {
		out, err := s.actMany(access.Who(ctx), in.Body)
		if err != nil {
			return nil, s.failed(err)
		}
		return &answer[Acted]{out}, nil
	})
}
