package web

import (
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"reflect"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"go.uber.org/zap"

	"lightwell/alarms/brief"
	"lightwell/alarms/brief/paper"
	"lightwell/alarms/web/access"
)

// writer makes documents from the sources of the server.
func (s *Server) writer() *brief.Writer {
	c := s.cfg
	sources := brief.Sources{Fleet: c.Fleet, Units: c.Engine.Units, Alarms: c.Alarms.Alarms, Baselines: c.Baselines.History, History: c.History, Version: c.Version}
	if c.Visits != nil {
		sources.Visits = c.Visits.List
	}
	if c.Journal != nil {
		sources.Changes = c.Journal.Changes
	}
	return brief.New(sources)
}

// A document can be set for people, and most as a table.
type document interface{ Document() *paper.Document }

// printed is a document in one of its forms.
type printed struct {
	Type        string `header:"Content-Type"`
	Disposition string `header:"Content-Disposition" doc:"Name for the file."`
	Policy      string `header:"Content-Security-Policy"`
	Body        []byte
}

// PrintQuery says in which form a document is wanted.
type PrintQuery struct {
	Format string `query:"format" enum:"json,html,pdf,csv,text" default:"json" doc:"csv: the figures only; a certificate has none."`
	Paper  string `query:"paper" enum:"A4,Letter" default:"A4" doc:"Of a PDF."`
}

// documentPolicy lets a document have its own style and nothing else.
var documentPolicy = "default-src 'none'; style-src " + paper.StylePolicy + "; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"

var errNoTable = errors.New("there are no figures to give as CSV: ask for json, html or pdf")

// print sets a document in the form wanted. name is that of the file, without
// its ending.
func print(d document, name string, q PrintQuery) (*printed, error) {
	out := &printed{Policy: policy, Disposition: `inline; filename="` + name + "." + q.Format + `"`}
	var err error
	switch q.Format {
	case "html":
		out.Type, out.Policy = "text/html; charset=utf-8", documentPolicy
		out.Body, err = d.Document().HTML()
	case "pdf":
		out.Type = "application/pdf"
		out.Body, err = d.Document().PDF(paper.Format(q.Paper))
	case "text":
		out.Type, out.Disposition = "text/plain; charset=utf-8", `inline; filename="`+name+`.txt"`
		out.Body = d.Document().Text()
	case "csv":
		table, ok := d.(interface{ CSV() []byte })
		if !ok {
			return nil, errNoTable
		}
		out.Type, out.Body = "text/csv; charset=utf-8", table.CSV()
	default:
		out.Type = "application/json"
		out.Body, err = json.Marshal(d)
	}
	return out, err
}

// docTimeout bounds the making of one document.
const docTimeout = 25 * time.Second

// made makes a document and says how it failed.
func (s *Server) made(ctx context.Context, q PrintQuery, kind, of string, make func(context.Context, time.Time) (document, error)) (*printed, error) {
	ctx, cancel := context.WithTimeout(ctx, docTimeout)
	defer cancel()
	now := time.Now()
	d, err := make(ctx, now)
	if err == nil {
		var out *printed
		if out, err = print(d, brief.Stamp(kind, of, now), q); err == nil {
			return out, nil
		}
	}
	switch {
	case errors.Is(err, brief.ErrUnknown):
		return nil, huma.Error404NotFound(err.Error())
	case errors.Is(err, brief.ErrMonth), errors.Is(err, errNoTable):
		return nil, huma.Error422UnprocessableEntity(err.Error())
	}
	s.cfg.Log.Error("document was not made", zap.String("kind", kind), zap.String("of", of), zap.Error(err))
	return nil, huma.Error503ServiceUnavailable("this document cannot be made now; the log says why")
}

func (s *Server) brief(ctx context.Context, site string, q PrintQuery) (*printed, error) {
	return s.made(ctx, q, "brief", site, func(ctx context.Context, now time.Time) (document, error) { return s.writer().Site(ctx, site, now) })
}

func (s *Server) order(ctx context.Context, q PrintQuery) (*printed, error) {
	return s.made(ctx, q, "visit", "order", func(_ context.Context, now time.Time) (document, error) { return s.writer().Rank(now), nil })
}

func (s *Server) certificate(ctx context.Context, link string, q PrintQuery) (*printed, error) {
	return s.made(ctx, q, "certificate", link, func(_ context.Context, now time.Time) (document, error) { return s.writer().Certificate(link, now) })
}

func (s *Server) availability(ctx context.Context, site, month string, q PrintQuery) (*printed, error) {
	return s.made(ctx, q, "availability", site, func(ctx context.Context, now time.Time) (document, error) {
		return s.writer().Availability(ctx, site, month, now)
	})
}

// OneDocument is the query of a document about one thing.
type OneDocument struct {
	ByID
	PrintQuery
}

// monthDocument is the query of a document about a month.
type monthDocument struct {
	OneDocument
	Month string `query:"month" maxLength:"7" doc:"Such as 2026-10, in the site's zone; without it, the one of now."`
}

func (s *Server) registerBriefs(api huma.API) {
	printable(s, api, reflect.TypeFor[brief.Brief](), "/sites/{id}/brief", "brief", "What a visit to a site needs", func(ctx context.Context, in *OneDocument) (*printed, error) {
		return s.brief(ctx, in.ID, in.PrintQuery)
	})
	printable(s, api, reflect.TypeFor[brief.Availability](), "/sites/{id}/availability", "availability", "How the links of a site have served in a month", func(ctx context.Context, in *monthDocument) (*printed, error) {
		return s.availability(ctx, in.ID, in.Month, in.PrintQuery)
	})
	printable(s, api, reflect.TypeFor[brief.Certificate](), "/links/{id}/certificate", "certificate", "The commissioning certificate of a link", func(ctx context.Context, in *OneDocument) (*printed, error) {
		return s.certificate(ctx, in.ID, in.PrintQuery)
	})
	printable(s, api, reflect.TypeFor[brief.Ranking](), "/visit-order", "visit-order", "Sites that ask for a visit, the most urgent first", func(ctx context.Context, in *PrintQuery) (*printed, error) {
		return s.order(ctx, *in)
	})
}

// printable registers a document, with the schema of its JSON.
func printable[I any](s *Server, api huma.API, of reflect.Type, path, id, summary string, fn func(context.Context, *I) (*printed, error)) {
	op := s.operation(api, access.See, http.MethodGet, path, id, summary, http.StatusNotFound, http.StatusUnprocessableEntity, http.StatusServiceUnavailable)
	op.Responses = map[string]*huma.Response{"200": {Description: "The document in the form asked for.", Content: map[string]*huma.MediaType{
		"application/json": {Schema: api.OpenAPI().Components.Schemas.Schema(of, true, of.Name())},
		"text/html":        {}, "text/plain": {}, "application/pdf": {}, "text/csv": {},
	}}}
	huma.Register(api, op, fn)
}

// sheets are the documents as pages: for reading and for printing.
func (s *Server) registerSheets(see func(pattern string, h http.HandlerFunc)) {
	see("/sites/{id}/brief", s.sheet(func(r *http.Request, q PrintQuery) (*printed, error) {
		return s.brief(r.Context(), r.PathValue("id"), q)
	}))
	see("/sites/{id}/availability", s.sheet(func(r *http.Request, q PrintQuery) (*printed, error) {
		return s.availability(r.Context(), r.PathValue("id"), r.URL.Query().Get("month"), q)
	}))
	see("/links/{id}/certificate", s.sheet(func(r *http.Request, q PrintQuery) (*printed, error) {
		return s.certificate(r.Context(), r.PathValue("id"), q)
	}))
	see("/visit-order", s.sheet(func(r *http.Request, q PrintQuery) (*printed, error) { return s.order(r.Context(), q) }))
}

func (s *Server) sheet(make func(*http.Request, PrintQuery) (*printed, error)) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		q := PrintQuery{Format: "html", Paper: string(paper.A4)}
		switch format := r.URL.Query().Get("format"); format {
		case "", "html":
		case "pdf", "csv", "text":
			q.Format = format
		default:
			s.problem(w, r, http.StatusBadRequest, "a document comes as html, pdf, csv or text")
			return
		}
		if r.URL.Query().Get("paper") == string(paper.Letter) {
			q.Paper = string(paper.Letter)
		}
		out, err := make(r, q)
		var status huma.StatusError
		if errors.As(err, &status) {
			s.problem(w, r, status.GetStatus(), status.Error())
			return
		}
		h := w.Header()
		h.Set("Content-Type", out.Type)
		h.Set("Content-Disposition", out.Disposition)
		h.Set("Content-Security-Policy", out.Policy)
		_, _ = w.Write(out.Body)
	}
}
