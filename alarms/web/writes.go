package web

import (
	"context"
	"net/http"
	"strconv"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"lightwell/alarms"
	"lightwell/alarms/web/access"
	"lightwell/alarms/web/view"
)

// Target names the alarm to act on, and the version that the caller has seen.
type Target struct {
	ByID
	IfMatch string `header:"If-Match" doc:"ETag of the alarm as last seen: the action is done only if its version is still the one in the tag. Details that change with every poll do not count. Without it the action is done in any case."`
}

// version reads If-Match: 0 for any. A weak or unknown tag never matches, as
// RFC 9110 13.1.1 says.
func (t *Target) version() (uint64, error) {
	tag := strings.TrimSpace(t.IfMatch)
	if tag == "" || tag == "*" {
		return 0, nil
	}
	v, ok := versionIn(tag)
	if !ok {
		return 0, huma.Error412PreconditionFailed("If-Match is not a tag that this server gave: read the alarm again")
	}
	return v, nil
}

// note is what a person says with an action.
type note struct {
	Target
	Body *struct {
		Text string `json:"text,omitempty" maxLength:"1000" doc:"Kept with the action."`
	} `required:"false"`
}

// remark is an action that consists of what is said.
type remark struct {
	Target
	Body struct {
		Text string `json:"text" minLength:"1" maxLength:"1000"`
	}
}

// shelving says until when.
type shelving struct {
	Target
	Body struct {
		Text  string    `json:"text,omitempty" maxLength:"1000" doc:"Why."`
		Until time.Time `json:"until" doc:"When the alarm returns by itself."`
	}
}

func (s *Server) registerActions(api huma.API) {
	s.registerTogether(api)
	for do, summary := range map[string]string{
		"acknowledge": "Somebody works on it", "close": "The corrective action was successful",
		"reopen": "Nobody works on it any more", "unshelve": "Take it off the shelf",
	} {
		write(s, api, access.Operate, "/alarms/{id}/"+do, do, summary, func(ctx context.Context, in *note) (*tagged, error) {
			op := alarms.Operation{}
			if in.Body != nil {
				op.Text = in.Body.Text
			}
			return s.actTagged(ctx, do, &in.Target, op)
		})
	}
	write(s, api, access.Operate, "/alarms/{id}/comment", "comment", "Say something and change nothing", func(ctx context.Context, in *remark) (*tagged, error) {
		return s.actTagged(ctx, "comment", &in.Target, alarms.Operation{Text: in.Body.Text})
	})
	write(s, api, access.Operate, "/alarms/{id}/shelve", "shelve", "Put it aside until a time", func(ctx context.Context, in *shelving) (*tagged, error) {
		return s.actTagged(ctx, "shelve", &in.Target, alarms.Operation{Text: in.Body.Text, Until: in.Body.Until})
	})
	poll := s.operation(api, access.Operate, http.MethodPost, "/units/{id}/poll", "poll", "Poll a unit out of turn", http.StatusNotFound, http.StatusServiceUnavailable)
	poll.DefaultStatus = http.StatusAccepted
	huma.Register(api, poll, func(ctx context.Context, in *ByID) (*struct{}, error) {
		if err := s.pollNow(access.Who(ctx), in.ID); err != nil {
			return nil, huma.NewError(statusOf(err), err.Error())
		}
		return nil, nil
	})
}

func (s *Server) actTagged(ctx context.Context, do string, t *Target, op alarms.Operation) (*tagged, error) {
	var err error
	if op.IfVersion, err = t.version(); err != nil {
		return nil, err
	}
	who := access.Who(ctx)
	op.Operator, op.From, op.Now = who.Name, who.From, time.Now()
	a, err := s.act(do, t.ID, op)
	if err != nil {
		return nil, s.failed(err)
	}
	return s.tagged(a), nil
}

// Commissioned names what to commission.
type Commissioned struct {
	Resources []string `json:"resources" minItems:"1" maxItems:"1000" doc:"unit/ID, link/ID (both ends) or site/ID (all its units)."`
}

func (s *Server) registerCommissioning(api huma.API) {
	type showInput struct {
		Resource string `query:"resource" required:"true" maxLength:"200" doc:"unit/ID, link/ID or site/ID."`
	}
	read(s, api, "/commissioning", "commissioning", "Captures and baselines of one resource's units", func(_ context.Context, in *showInput) (*answer[paged[view.Capture]], error) {
		return s.captures([]string{in.Resource})
	})
	type beginInput struct{ Body Commissioned }
	write(s, api, access.Commission, "/commissioning/begin", "commissioning-begin", "Begin a capture at each unit", func(ctx context.Context, in *beginInput) (*answer[paged[view.Capture]], error) {
		units, err := s.resolve(in.Body.Resources)
		if err == nil {
			err = s.begin(units, access.Who(ctx))
		}
		if err != nil {
			return nil, s.failed(err)
		}
		return s.captures(in.Body.Resources)
	})
	type acceptInput struct {
		Body struct {
			Commissioned
			Reason string `json:"reason,omitempty" maxLength:"1000" doc:"Needed with force, and where a baseline is in force already."`
			Force  bool   `json:"force,omitempty" doc:"Accept a capture that is not ready; recorded with what speaks against it."`
		}
	}
	write(s, api, access.Commission, "/commissioning/accept", "commissioning-accept", "Accept the captures as baselines, all or none", func(ctx context.Context, in *acceptInput) (*answer[paged[view.Capture]], error) {
		units, err := s.resolve(in.Body.Resources)
		if err == nil {
			err = s.accept(units, access.Who(ctx), in.Body.Reason, in.Body.Force)
		}
		if err != nil {
			return nil, s.failed(err)
		}
		return s.captures(in.Body.Resources)
	})
}

func (s *Server) captures(resources []string) (*answer[paged[view.Capture]], error) {
	units, err := s.resolve(resources)
	if err != nil {
		return nil, s.failed(err)
	}
	now := time.Now()
	out := make([]view.Capture, len(units))
	for i, u := range units {
		out[i] = s.capture(u, now)
	}
	return &answer[paged[view.Capture]]{paged[view.Capture]{Items: out, Total: len(out)}}, nil
}

// resolve returns the units that resources stand for, each once.
func (s *Server) resolve(resources []string) ([]string, error) {
	fleet := s.cfg.Fleet()
	var out []string
	seen := map[string]bool{}
	for _, r := range resources {
		units, ok := view.Resolve(fleet, r)
		if !ok {
			return nil, &unknownResource{r}
		}
		for _, u := range units {
			if !seen[u] {
				seen[u] = true
				out = append(out, u)
			}
		}
	}
	return out, nil
}

type unknownResource struct{ name string }

func (e *unknownResource) Error() string {
	return "the fleet has no " + strconv.Quote(e.name) + ": name unit/ID, link/ID or site/ID"
}

func (e *unknownResource) Is(target error) bool { return target == errNoUnit }
