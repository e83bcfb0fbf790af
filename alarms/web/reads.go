package web

import (
	"context"
	"net/url"
	"strconv"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"lightwell/alarms"
	"lightwell/alarms/web/view"
)

// ByID asks for one thing.
type ByID struct {
	ID string `path:"id" maxLength:"200"`
}

func (s *Server) registerReads(api huma.API) {
	read(s, api, "/fleet", "fleet", "The fleet at a glance: what needs attention now, and every site", func(context.Context, *struct{}) (*answer[view.Overview], error) {
		return &answer[view.Overview]{s.board(time.Now()).Overview()}, nil
	})
	read(s, api, "/sites", "sites", "All sites", func(_ context.Context, in *Paging) (*answer[paged[view.SiteRow]], error) {
		return cut(s.board(time.Now()).Sites(), *in, func(r view.SiteRow) string { return r.ID })
	})
	read(s, api, "/sites/{id}", "site", "Everything about one site", func(_ context.Context, in *ByID) (*answer[view.Site], error) {
		return found(s.board(time.Now()).Site(in.ID))
	})
	read(s, api, "/units", "units", "All units", func(_ context.Context, in *Paging) (*answer[paged[view.UnitRow]], error) {
		return cut(s.board(time.Now()).Units(), *in, func(r view.UnitRow) string { return r.ID })
	})
	read(s, api, "/units/{id}", "unit", "Everything about one unit, with every point", func(_ context.Context, in *ByID) (*answer[view.Unit], error) {
		return found(s.board(time.Now()).Unit(in.ID))
	})
	read(s, api, "/links", "links", "All links, with levels in both directions", func(_ context.Context, in *Paging) (*answer[paged[view.Link]], error) {
		return cut(s.board(time.Now()).Links(), *in, func(l view.Link) string { return l.ID })
	})
	type eventsInput struct {
		Limit int `query:"limit" minimum:"1" maximum:"2000" default:"100" doc:"Most events wanted."`
	}
	read(s, api, "/events", "events", "What happened and needs no action, newest first", func(_ context.Context, in *eventsInput) (*answer[paged[alarms.Event]], error) {
		events := append([]alarms.Event{}, s.cfg.Engine.Events(in.Limit)...)
		return &answer[paged[alarms.Event]]{paged[alarms.Event]{Items: events, Total: len(events)}}, nil
	})
	read(s, api, "/load", "load", "How much the alarms ask of the people who watch", func(context.Context, *struct{}) (*answer[alarms.LoadFigures], error) {
		return &answer[alarms.LoadFigures]{s.cfg.Engine.Load(time.Now())}, nil
	})
}

func found[T any](v T, ok bool) (*answer[T], error) {
	if !ok {
		return nil, huma.Error404NotFound("there is nothing with this id")
	}
	return &answer[T]{v}, nil
}

// alarmFilter is the query of the alarm list.
type alarmFilter struct {
	Paging
	State    string `query:"state" enum:"active,new,acknowledged,held,shelved,cleared,closed,all" default:"active" doc:"active: raised, neither held back nor shelved."`
	Severity string `query:"severity" enum:"indeterminate,warning,minor,major,critical" doc:"This severity and worse."`
	Site     string `query:"site" maxLength:"200"`
	Type     string `query:"type" maxLength:"200"`
	Resource string `query:"resource" maxLength:"200" doc:"This resource and all below it, such as unit/ID."`
}

// tagged is an alarm with the tag for conditional updates.
type tagged struct {
	ETag string `header:"ETag" doc:"Send it back as If-Match to act only on what you have seen."`
	Body view.Alarm
}

func (s *Server) tagged(a alarms.Alarm) *tagged {
	v := view.NewBoard(view.Snapshot{Fleet: s.cfg.Fleet(), Alarms: []alarms.Alarm{a}})
	out, _ := v.Alarm(a.ID)
	return &tagged{ETag: etag(a.Version), Body: out}
}

func etag(version uint64) string { return `"` + strconv.FormatUint(version, 10) + `"` }

func (s *Server) registerAlarmReads(api huma.API) {
	read(s, api, "/alarms", "alarms", "The alarm list, most urgent first", func(_ context.Context, in *alarmFilter) (*answer[paged[view.Alarm]], error) {
		query := url.Values{"state": {in.State}, "severity": {in.Severity}, "site": {in.Site}, "type": {in.Type}, "resource": {in.Resource}}
		filter, err := parseFilter(query)
		if err != nil {
			return nil, huma.Error422UnprocessableEntity(err.Error())
		}
		return cut(s.board(time.Now()).AlarmList(filter), in.Paging, func(a view.Alarm) string { return a.ID })
	})
	type oneAlarm struct {
		ByID
		IfNoneMatch string `header:"If-None-Match"`
	}
	read(s, api, "/alarms/{id}", "alarm", "One alarm, with its status changes and operator actions", func(_ context.Context, in *oneAlarm) (*tagged, error) {
		a, ok := s.cfg.Alarms.Alarm(in.ID)
		if !ok {
			return nil, huma.Error404NotFound("there is no such alarm in the list; it may have been purged")
		}
		if in.IfNoneMatch != "" && strings.TrimPrefix(in.IfNoneMatch, "W/") == etag(a.Version) {
			return nil, huma.Status304NotModified()
		}
		return s.tagged(a), nil
	})
	read(s, api, "/alarm-summary", "alarm-summary", "Counts per severity, with the columns of RFC 8632; without shelved alarms", func(context.Context, *struct{}) (*answer[alarms.Summary], error) {
		return &answer[alarms.Summary]{s.cfg.Alarms.Summary()}, nil
	})
	read(s, api, "/alarm-types", "alarm-types", "The alarm inventory: every type that can be raised", func(context.Context, *struct{}) (*answer[paged[alarms.Type]], error) {
		types := append([]alarms.Type{}, s.cfg.Types...)
		return &answer[paged[alarms.Type]]{paged[alarms.Type]{Items: types, Total: len(types)}}, nil
	})
}
