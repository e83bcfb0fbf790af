package web

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"html/template"
	"net/http"
	"strings"
	"time"

	"go.uber.org/zap"

	"lightwell/alarms/visit"
	"lightwell/alarms/web/access"
	"lightwell/alarms/web/view"
)

//go:embed assets
var assets embed.FS

// static are the files that a page loads, with their type.
var static = map[string]string{
	"style.css": "text/css; charset=utf-8",
	"live.js":   "text/javascript; charset=utf-8",
	"keys.js":   "text/javascript; charset=utf-8",
	"mark.svg":  "image/svg+xml",
}

// fingerprints name the content of each static file in its address, so that
// browsers may keep it for ever.
var fingerprints = func() map[string]string {
	out := map[string]string{}
	for name := range static {
		data, err := assets.ReadFile("assets/" + name)
		if err != nil {
			panic(err)
		}
		sum := sha256.Sum256(data)
		out[name] = hex.EncodeToString(sum[:6])
	}
	return out
}()

var pages = func() map[string]*template.Template {
	shared := template.Must(template.New("").Funcs(functions).ParseFS(assets, "assets/layout.html", "assets/parts.html"))
	out := map[string]*template.Template{}
	for _, name := range []string{"fleet", "site", "unit", "link", "alarms", "alarm", "visits", "visit", "deliveries", "signin", "problem"} {
		out[name] = template.Must(template.Must(shared.Clone()).ParseFS(assets, "assets/"+name+".html"))
	}
	return out
}()

// frame is what every page has around its own part.
type frame struct {
	Title   string
	Nav     string
	Version string
	Trouble string // that everybody must know of; empty: none
	Person  access.Person
	Now     time.Time
	Main    template.HTML // what all readers of one role share
	Visits  bool          // are recorded
	Hooks   bool          // there are receivers of webhooks
	Page    any

	board   *view.Board
	back    string
	capture *view.Capture
	visit   func(site string) (visit.Visit, bool) // that is open; nil: none are recorded
}

// frame must be made before anything is read, so that its state is never
// newer than what the page shows.
func (s *Server) frame(r *http.Request, nav string) *frame {
	f := &frame{Nav: nav, Person: access.Who(r.Context()), Now: time.Now(), back: r.URL.RequestURI(), Trouble: s.trouble(), Visits: s.cfg.Visits != nil}
	f.board = s.board(f.Now)
	if s.cfg.Visits != nil {
		f.visit = s.cfg.Visits.Open
	}
	return f
}

// trouble is what everybody must know of; "": nothing.
func (s *Server) trouble() string {
	if s.cfg.Unwritten == nil {
		return ""
	}
	if err := s.cfg.Unwritten(); err != nil {
		return sentence(err.Error()) + " Alarms go on; what people do is refused until it can be written again."
	}
	return ""
}

// body makes the part of a page that is its own.
func body(name string, f *frame) ([]byte, error) {
	var out bytes.Buffer
	err := pages[name].ExecuteTemplate(&out, "body", f)
	return out.Bytes(), err
}

// whole writes a page with what is around it or, when its template fails,
// nothing of it.
func (s *Server) whole(w http.ResponseWriter, r *http.Request, status int, f *frame) {
	var out bytes.Buffer
	if err := pages["problem"].ExecuteTemplate(&out, "layout", f); err != nil {
		s.unmade(w, r, err)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	if !takesGzip(r) {
		w.WriteHeader(status)
		_, _ = out.WriteTo(w)
		return
	}
	w.Header().Set("Content-Encoding", "gzip")
	w.WriteHeader(status)
	_ = zip(w, out.Bytes())
}

func (s *Server) unmade(w http.ResponseWriter, r *http.Request, err error) {
	s.cfg.Log.Error("page was not made", zap.String("path", r.URL.Path), zap.Error(err))
	plain(w, http.StatusInternalServerError, "this page could not be made; the log says why\n")
}

// render writes a page that nobody shares.
func (s *Server) render(w http.ResponseWriter, r *http.Request, status int, name string, f *frame) {
	f.Visits, f.Hooks = s.cfg.Visits != nil, s.cfg.Webhooks != nil
	main, err := body(name, f)
	if err != nil {
		s.unmade(w, r, err)
		return
	}
	f.Main = template.HTML(main)
	s.whole(w, r, status, f)
}

func (s *Server) problemPage(w http.ResponseWriter, r *http.Request, status int, detail string) {
	f := &frame{Title: http.StatusText(status), Person: access.Who(r.Context()), Now: time.Now(), Page: sentence(detail)}
	s.render(w, r, status, "problem", f)
}

func sentence(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:] + "."
}

// asset serves a static file; with the right fingerprint it may be kept.
func (s *Server) asset(w http.ResponseWriter, r *http.Request) {
	name := r.PathValue("name")
	kind, ok := static[name]
	if !ok {
		s.problem(w, r, http.StatusNotFound, "there is nothing at this address")
		return
	}
	w.Header().Set("Content-Type", kind)
	if r.URL.RawQuery == "v="+fingerprints[name] {
		w.Header().Set("Cache-Control", "private, max-age=31536000, immutable")
	}
	data, err := assets.ReadFile("assets/" + name)
	if err != nil {
		s.problem(w, r, http.StatusInternalServerError, err.Error())
		return
	}
	_, _ = w.Write(data)
}

// Legend lists the states whose shapes the foot of the page explains.
func (f *frame) Legend() []string {
	return []string{"critical", "major", "minor", "warning", "held", "shelved", "silent", "commissioning", "good", "cleared"}
}

// May tells whether the reader has a role.
func (f *frame) May(role string) bool {
	var need access.Role
	return need.UnmarshalText([]byte(role)) == nil && f.Person.Role.May(need)
}

// SiteName is a site's name, or its id when it has none.
func (f *frame) SiteName(id string) string {
	if s, ok := f.board.Fleet.Site(id); ok && s.Name != "" {
		return s.Name
	}
	return id
}

// When is a time as people at the site read their clocks.
func (f *frame) When(site string, t time.Time) stamp {
	zone := time.UTC
	if s, ok := f.board.Fleet.Site(site); ok && s.Location != nil {
		zone = s.Location
	}
	return newStamp(t, f.Now, zone)
}

// Capture is the state of the unit's commissioning, on the page of a unit.
func (f *frame) Capture() *view.Capture { return f.capture }

// Rows makes rows of alarms.
func (f *frame) Rows(list []view.Alarm) []row {
	out := make([]row, len(list))
	for i, a := range list {
		out[i] = f.row(a)
	}
	return out
}

// Run is a link with what its drawing needs.
func (f *frame) Run(l view.Link) view.Link { return l }
