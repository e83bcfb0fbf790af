package web

import (
	"context"
	"fmt"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"lightwell/alarms/notify"
	"lightwell/alarms/web/access"
)

// Delivery is one message that waits for a receiver of webhooks, or that was
// given up. Its body is not shown: it is that of the alarm.
type Delivery struct {
	ID          string       `json:"id" doc:"Of the event, as the receiver sees it."`
	Endpoint    string       `json:"endpoint"`
	State       notify.State `json:"state" enum:"pending,dead" doc:"dead: given up; it can be sent again."`
	AlarmID     string       `json:"alarm_id"`
	Type        string       `json:"type" doc:"Of the event."`
	Created     time.Time    `json:"created"`
	Attempts    int          `json:"attempts" doc:"That failed."`
	NextAttempt time.Time    `json:"next_attempt,omitzero"`
	Reason      string       `json:"reason,omitempty" doc:"Why the last attempt failed, or why it was given up."`
}

func delivery(e notify.Entry) Delivery {
	d := Delivery{
		ID: e.ID, Endpoint: e.Endpoint, State: e.State, AlarmID: e.Alarm, Type: e.Type, Created: e.Created.UTC(),
		Attempts: e.Attempts, Reason: e.Reason,
	}
	if e.State == notify.Pending {
		d.NextAttempt = e.NextAttempt.UTC()
	}
	return d
}

// deliveryFilter is the query of the deliveries.
type deliveryFilter struct {
	Paging
	Endpoint string `query:"endpoint" maxLength:"200" doc:"Of this endpoint only."`
	State    string `query:"state" enum:"pending,dead,all" default:"all"`
}

// givenUp names deliveries that were given up.
type givenUp struct {
	Body struct {
		Endpoint string   `json:"endpoint" minLength:"1" maxLength:"200"`
		IDs      []string `json:"ids,omitempty" maxItems:"1000" doc:"Of dead deliveries; without them all of the endpoint."`
	}
}

// Resent tells how many deliveries were made pending again, or dropped.
type Resent struct {
	Deliveries int `json:"deliveries"`
}

func (s *Server) registerDeliveries(api huma.API) {
	if s.cfg.Webhooks == nil {
		return
	}
	read(s, api, "/webhooks", "webhooks", "How every receiver of webhooks stands", func(_ context.Context, in *Paging) (*listed[notify.Stats], error) {
		return cut(s.cfg.Webhooks.Stats(), *in, func(e notify.Stats) string { return e.Endpoint })
	})
	read(s, api, "/deliveries", "deliveries", "Messages that wait for receivers, and those given up", func(_ context.Context, in *deliveryFilter) (*listed[Delivery], error) {
		list, err := s.deliveries(in.Endpoint, in.State)
		if err != nil {
			return nil, s.failed(err)
		}
		return cut(list, in.Paging, func(d Delivery) string { return d.Endpoint + " " + d.ID })
	})
	for do, a := range map[string]struct {
		summary, line string
		run           func(string, ...string) (int, error)
	}{
		"resend": {"Send what was given up again, with all attempts", "deliveries-resent", s.cfg.Webhooks.Resend},
		"drop":   {"Forget what was given up", "deliveries-dropped", s.cfg.Webhooks.Drop},
	} {
		write(s, api, access.Operate, "/deliveries/"+do, "deliveries-"+do, a.summary, func(ctx context.Context, in *givenUp) (*answer[Resent], error) {
			n, err := a.run(in.Body.Endpoint, in.Body.IDs...)
			if err != nil {
				return nil, s.failed(err)
			}
			s.record(access.Who(ctx), a.line, fmt.Sprintf("%d to %s", n, in.Body.Endpoint), "")
			return &answer[Resent]{Resent{n}}, nil
		})
	}
	resume := s.operation(api, access.Operate, http.MethodPost, "/webhooks/{id}/resume", "webhook-resume",
		"Send to a receiver again that wanted no more (it answered 410)", http.StatusNotFound)
	resume.DefaultStatus = http.StatusNoContent
	huma.Register(api, resume, func(ctx context.Context, in *ByID) (*struct{}, error) {
		if err := s.cfg.Webhooks.Resume(in.ID); err != nil {
			return nil, s.failed(err)
		}
		s.record(access.Who(ctx), "webhook-resumed", in.ID, "")
		return nil, nil
	})
}

func (s *Server) deliveries(endpoint, state string) ([]Delivery, error) {
	endpoints := []string{endpoint}
	if endpoint == "" {
		endpoints = nil
		for _, e := range s.cfg.Webhooks.Stats() {
			endpoints = append(endpoints, e.Endpoint)
		}
	}
	var out []Delivery
	for _, name := range endpoints {
		entries, err := s.cfg.Webhooks.Entries(name)
		if err != nil {
			return nil, err
		}
		for _, e := range entries {
			if state == "all" || state == string(e.State) {
				out = append(out, delivery(e))
			}
		}
	}
	return out, nil
}
