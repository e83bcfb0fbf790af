package web

import (
	"context"
	"net/http"
	"reflect"
	"strings"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humago"

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

// Paging is the part of a query that asks for a page.
type Paging struct {
	Limit int    `query:"limit" minimum:"1" maximum:"1000" default:"100" doc:"Most items wanted."`
	After string `query:"after" maxLength:"200" doc:"Value of next of the page before."`
}

func cut[T any](items []T, p Paging, id func(T) string) (*answer[paged[T]], error) {
	page, next, ok := view.Page(items, p.Limit, p.After, id)
	if !ok {
		return nil, huma.Error410Gone("the entry to go on after is no longer in the list: begin again without after")
	}
	if page == nil {
		page = []T{}
	}
	return &answer[paged[T]]{paged[T]{page, len(items), next}}, nil
}

func (s *Server) registerAPI(mux *http.ServeMux) {
	api := humago.New(mux, s.description())
	s.registerReads(api)
	s.registerAlarmReads(api)
	s.registerActions(api)
	s.registerCommissioning(api)
	s.registerStream(api)
	mux.HandleFunc("GET /api/{$}", func(w http.ResponseWriter, r *http.Request) {
		http.Redirect(w, r, "/api/openapi.json", http.StatusSeeOther)
	})
}

// description is the OpenAPI document without its paths. The library's
// documentation page is off: it would load from outside.
func (s *Server) description() huma.Config {
	c := huma.DefaultConfig("Lightwell", s.cfg.Version)
	c.OpenAPIPath, c.DocsPath, c.SchemasPath, c.CreateHooks = "/api/openapi", "", "", nil
	c.RejectUnknownQueryParameters = true
	c.Info.Description = "State of RF-over-fibre links, their alarms, and what people do with them. " +
		"Errors are problem details after RFC 9457. Times are UTC. A missing field is a value that is not known."
	c.Components.Schemas = huma.NewMapRegistry("#/components/schemas/", schemaName)
	c.Components.SecuritySchemes = map[string]*huma.SecurityScheme{
		"token": {Type: "http", Scheme: "bearer", Description: "The secret of a token."},
		"basic": {Type: "http", Scheme: "basic", Description: "Name and secret of a token."},
	}
	c.Security = []map[string][]string{{"token": {}}, {"basic": {}}}
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
	huma.Register(api, s.operation(api, access.See, http.MethodGet, path, id, summary, http.StatusNotFound, http.StatusGone), fn)
}

// write registers an operation that changes something.
func write[I, O any](s *Server, api huma.API, role access.Role, path, id, summary string, fn func(context.Context, *I) (*O, error)) {
	op := s.operation(api, role, http.MethodPost, path, id, summary,
		http.StatusNotFound, http.StatusConflict, http.StatusPreconditionFailed, http.StatusUnprocessableEntity)
	huma.Register(api, op, fn)
}

// failed turns an error of the sources into a problem.
func (s *Server) failed(err error) error {
	status := statusOf(err)
	return huma.NewError(status, s.reason(err, status))
}

// registerStream adds the stream of changes, and describes it.
func (s *Server) registerStream(api huma.API) {
	op := s.operation(api, access.See, http.MethodGet, "/changes", "changes", "Stream of server-sent events: changed at once and after every change, beat every ten seconds")
	schema := api.OpenAPI().Components.Schemas.Schema(reflect.TypeFor[Change](), true, "Change")
	op.Responses = map[string]*huma.Response{"200": {
		Description: "Data of each event.",
		Content:     map[string]*huma.MediaType{"text/event-stream": {Schema: schema}},
	}}
	huma.Register(api, op, func(context.Context, *struct{}) (*huma.StreamResponse, error) {
		return &huma.StreamResponse{Body: func(ctx huma.Context) {
			r, w := humago.Unwrap(ctx)
			s.stream(w, r)
		}}, nil
	})
}
