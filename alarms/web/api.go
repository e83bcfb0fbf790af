package web

import (
	"context"
	"net/http"
	"net/url"
	"reflect"
	"strconv"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humago"

	"lightwell/alarms"
	"lightwell/alarms/web/access"
	"lightwell/alarms/web/view"
)

// answer is a body of the API.
type answer[T any] struct{ Body T }

// paged is a page of a list.
type paged[T any] struct {
	Items []T    `json:"items"`
	Total int    `json:"total" doc:"Length of the whole list."`
	Next  string `json:"next,omitempty" doc:"Value of after for the next page; missing at the end."`
}

// listed is an answer with a page of a list.
type listed[T any] struct {
	Link string `header:"Link" doc:"Where the next page is, with rel=next (RFC 8288); missing at the end."`
	Body paged[T]
}

// Paging is the part of a query that asks for a page.
type Paging struct {
	Limit int    `query:"limit" minimum:"1" maximum:"1000" default:"100" doc:"Most items wanted."`
	After string `query:"after" maxLength:"200" doc:"Value of next of the page before."`

	asked url.URL
}

// Resolve keeps what was asked for, so that the next page can be named.
func (p *Paging) Resolve(ctx huma.Context) []error {
	p.asked = ctx.URL()
	return nil
}

// link names the page after that one.
func (p *Paging) link(next string) string {
	if next == "" {
		return ""
	}
	query := p.asked.Query()
	query.Set("after", next)
	return "<" + p.asked.Path + "?" + query.Encode() + `>; rel="next"`
}

func cut[T any](items []T, p Paging, id func(T) string) (*listed[T], error) {
	page, next, ok := view.Page(items, p.Limit, p.After, id)
	if !ok {
		return nil, huma.Error410Gone("the entry to go on after is no longer in the list: begin again without after")
	}
	if page == nil {
		page = []T{}
	}
	return &listed[T]{p.link(next), paged[T]{page, len(items), next}}, nil
}

func (s *Server) registerAPI(mux humago.Mux) huma.API {
	api := humago.New(mux, s.description())
	s.registerMe(api)
	s.registerReads(api)
	s.registerAlarmReads(api)
	s.registerActions(api)
	s.registerTidying(api)
	s.registerCommissioning(api)
	s.registerDeliveries(api)
	s.registerLog(api)
	s.registerVisits(api)
	s.registerBriefs(api)
	s.registerHistory(api)
	s.registerBackups(api)
	s.registerStream(api)
	mux.HandleFunc("GET /api/{$}", func(w http.ResponseWriter, r *http.Request) {
		http.Redirect(w, r, "/api/openapi.json", http.StatusSeeOther)
	})
	return api
}

// description is the OpenAPI document without its paths. The library's
// documentation page is off: it would load from outside.
func (s *Server) description() huma.Config {
	c := huma.DefaultConfig("Lightwell", s.cfg.Version)
	c.OpenAPIPath, c.DocsPath, c.SchemasPath, c.CreateHooks = "/api/openapi", "", "", nil
	c.RejectUnknownQueryParameters = true
	c.Info.Description = "State of RF-over-fibre links, their alarms, and what people do with them. " +
		"Errors are problem details after RFC 9457. Times are UTC. A missing field is a value that is not known. " +
		"Every answer to GET has an ETag; sent back as If-None-Match it spares you an answer that you have."
	c.Components.Schemas = huma.NewMapRegistry("#/components/schemas/", schemaName)
	c.Components.SecuritySchemes = map[string]*huma.SecurityScheme{
		"token":   {Type: "http", Scheme: "bearer", Description: "The secret of a token."},
		"basic":   {Type: "http", Scheme: "basic", Description: "Name and secret of a token."},
		"session": {Type: "apiKey", In: "cookie", Name: access.CookieName, Description: "Of a browser that signed in on the sign-in page; over TLS its name begins with __Host-."},
	}
	c.Security = []map[string][]string{{"token": {}}, {"basic": {}}, {"session": {}}}
	return c
}

// schemaName keeps types apart that have the same name in two packages.
func schemaName(t reflect.Type, hint string) string {
	name := huma.DefaultSchemaNamer(t, hint)
	for t.Kind() == reflect.Pointer || t.Kind() == reflect.Slice {
		t = t.Elem()
	}
	if strings.HasSuffix(t.PkgPath(), "lightwell/alarms/web/view") || !strings.HasPrefix(t.PkgPath(), "lightwell/") {
		return name
	}
	part := t.PkgPath()[strings.LastIndex(t.PkgPath(), "/")+1:]
	return strings.ToUpper(part[:1]) + part[1:] + name
}

// operation describes one operation and lets only a role use it.
func (s *Server) operation(api huma.API, role access.Role, method, path, id, summary string, statuses ...int) huma.Operation {
	statuses = append(statuses, http.StatusUnauthorized, http.StatusForbidden, http.StatusTooManyRequests)
	return huma.Operation{
		OperationID: id, Method: method, Path: "/api/v1" + path, Summary: summary,
		Description: "Needs the role " + role.String() + ".",
		Errors:      statuses, MaxBodyBytes: maxBody, DefaultStatus: http.StatusOK,
		Middlewares: huma.Middlewares{func(ctx huma.Context, next func(huma.Context)) {
			if who := access.Who(ctx.Context()); !who.Role.May(role) {
				_ = huma.WriteErr(api, ctx, http.StatusForbidden, refusal(who, role))
				return
			}
			next(ctx)
		}},
	}
}

// read registers an operation that only looks.
func read[I, O any](s *Server, api huma.API, path, id, summary string, fn func(context.Context, *I) (*O, error)) {
	op := s.operation(api, access.See, http.MethodGet, path, id, summary, http.StatusNotFound, http.StatusGone)
	huma.Register(api, op, fn)
}

// write registers an operation that changes something.
func write[I, O any](s *Server, api huma.API, role access.Role, path, id, summary string, fn func(context.Context, *I) (*O, error)) {
	op := s.operation(api, role, http.MethodPost, path, id, summary,
		http.StatusNotFound, http.StatusConflict, http.StatusPreconditionFailed, http.StatusUnprocessableEntity, http.StatusServiceUnavailable)
	huma.Register(api, op, fn)
}

// failed turns an error of the sources into a problem.
func (s *Server) failed(err error) error {
	status := statusOf(err)
	return huma.NewError(status, s.reason(err, status))
}

const streamPath = "/api/v1/changes"

// registerStream adds the stream of changes, and describes it.
func (s *Server) registerStream(api huma.API) {
	op := s.operation(api, access.See, http.MethodGet, strings.TrimPrefix(streamPath, "/api/v1"), "changes", "Stream of server-sent events: changed at once and after every change, beat every ten seconds")
	schema := api.OpenAPI().Components.Schemas.Schema(reflect.TypeFor[Change](), true, "Change")
	op.Responses = map[string]*huma.Response{"200": {
		Description: "Data of each event.",
		Content:     map[string]*huma.MediaType{"text/event-stream": {Schema: schema}},
	}}
	type streamInput struct {
		Page string `query:"page" maxLength:"2000" doc:"Path and query of a page; then only changes that it shows are told, and versions are its ETags."`
	}
	huma.Register(api, op, func(context.Context, *streamInput) (*huma.StreamResponse, error) {
		return &huma.StreamResponse{Body: func(ctx huma.Context) {
			r, w := humago.Unwrap(ctx)
			s.stream(w, r)
		}}, nil
	})
}

// ByID asks for one thing.
type ByID struct {
	ID string `path:"id" maxLength:"200"`
}

func (s *Server) registerReads(api huma.API) {
	read(s, api, "/fleet", "fleet", "The fleet at a glance: what needs attention now, and every site", func(context.Context, *struct{}) (*answer[view.Overview], error) {
		return &answer[view.Overview]{s.board(time.Now()).Overview()}, nil
	})
	read(s, api, "/sites", "sites", "All sites", func(_ context.Context, in *Paging) (*listed[view.SiteRow], error) {
		return cut(s.board(time.Now()).Sites(), *in, func(r view.SiteRow) string { return r.ID })
	})
	read(s, api, "/sites/{id}", "site", "Everything about one site", func(_ context.Context, in *ByID) (*answer[view.Site], error) {
		return found(s.board(time.Now()).Site(in.ID))
	})
	read(s, api, "/units", "units", "All units", func(_ context.Context, in *Paging) (*listed[view.UnitRow], error) {
		return cut(s.board(time.Now()).Units(), *in, func(r view.UnitRow) string { return r.ID })
	})
	read(s, api, "/units/{id}", "unit", "Everything about one unit, with every point", func(_ context.Context, in *ByID) (*answer[view.Unit], error) {
		return found(s.board(time.Now()).Unit(in.ID))
	})
	read(s, api, "/links", "links", "All links, with levels in both directions", func(_ context.Context, in *Paging) (*listed[view.Link], error) {
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
	read(s, api, "/alarms", "alarms", "The alarm list, most urgent first", func(_ context.Context, in *alarmFilter) (*listed[view.Alarm], error) {
		query := url.Values{"state": {in.State}, "severity": {in.Severity}, "site": {in.Site}, "type": {in.Type}, "resource": {in.Resource}}
		filter, err := parseFilter(query)
		if err != nil {
			return nil, huma.Error422UnprocessableEntity(err.Error())
		}
		return cut(s.board(time.Now()).AlarmList(filter), in.Paging, func(a view.Alarm) string { return a.ID })
	})
	read(s, api, "/alarms/{id}", "alarm", "One alarm, with its status changes and operator actions", func(_ context.Context, in *ByID) (*tagged, error) {
		a, ok := s.cfg.Alarms.Alarm(in.ID)
		if !ok {
			return nil, huma.Error404NotFound("there is no such alarm in the list; it may have been purged")
		}
		return s.tagged(a), nil
	})
	read(s, api, "/alarm-summary", "alarm-summary", "Counts per severity, with the columns of RFC 8632; without shelved alarms", func(context.Context, *struct{}) (*answer[alarms.Summary], error) {
		return &answer[alarms.Summary]{s.cfg.Alarms.Summary()}, nil
	})
	read(s, api, "/alarm-types", "alarm-types", "The alarm inventory: every type that can be raised", func(_ context.Context, in *Paging) (*listed[alarms.Type], error) {
		return cut(s.cfg.Types, *in, func(t alarms.Type) string { return t.ID })
	})
}
