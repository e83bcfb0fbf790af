package web

import (
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"lightwell/alarms"
	"lightwell/alarms/web/access"
	"lightwell/alarms/web/view"
)

// pageLimit is how many alarms one page of the list shows.
const pageLimit = 200

func (s *Server) registerPages(mux *http.ServeMux) {
	see := func(pattern string, h http.HandlerFunc) { mux.HandleFunc("GET "+pattern, s.need(access.See, h)) }
	see("/{$}", s.shows("fleet", "fleet", s.fleetPage))
	see("/sites/{id}", s.shows("site", "", s.sitePage))
	see("/units/{id}", s.shows("unit", "", s.unitPage))
	see("/links/{id}", s.shows("link", "", s.linkPage))
	see("/links/{id}/trend.svg", s.linkTrend)
	see("/alarms", s.shows("alarms", "alarms", s.alarmsPage))
	see("/alarms/{id}", s.shows("alarm", "alarms", s.alarmPage))
	s.registerSheets(see)
	s.registerDeliveryPage(mux, see)
	mux.HandleFunc("POST /alarms", s.need(access.Operate, s.manyForm))
	mux.HandleFunc("POST /alarms/{id}", s.need(access.Operate, s.alarmForm))
	mux.HandleFunc("POST /units/{id}/poll", s.need(access.Operate, s.pollForm))
	mux.HandleFunc("POST /units/{id}/commission", s.need(access.Commission, s.commissionForm))
	if s.cfg.Visits != nil {
		see("/visits", s.shows("visits", "visits", s.visitsPage))
		see("/visits/{id}", s.shows("visit", "visits", s.visitPage))
		mux.HandleFunc("POST /sites/{id}/visit", s.need(access.Operate, s.visitBeginForm))
		mux.HandleFunc("POST /visits/{id}", s.need(access.Operate, s.visitForm))
	}
}

func (s *Server) sitePage(r *http.Request, f *frame) error {
	site, ok := f.board.Site(r.PathValue("id"))
	if !ok {
		return notFound("the fleet has no such site")
	}
	f.Page, f.Title = site, site.Name
	return nil
}

func (s *Server) unitPage(r *http.Request, f *frame) error {
	unit, ok := f.board.Unit(r.PathValue("id"))
	if !ok {
		return notFound("the fleet has no such unit")
	}
	c := s.capture(unit.ID, f.Now)
	f.Page, f.Title, f.capture = unit, unit.ID, &c
	return nil
}

func (s *Server) capture(unit string, now time.Time) view.Capture {
	return view.NewCapture(s.cfg.Baselines.Show(unit, now), s.cfg.Baselines.History(unit), s.cfg.Baselines.Refinements(unit))
}

// choice is a line of the alarm list's filter.
type choice struct{ ID, Name, Title string }

// listPage is what the alarm list page shows.
type listPage struct {
	State, Severity, Site, Type string
	States, Severities          []string
	Sites, Types                []choice
	Heading                     string
	Total                       int
	List, Held, Shelved         []view.Alarm
	Next                        string
	Rows                        []row // of List, to choose from
	Back                        string
	Load                        loadView
}

// Spans lists the times for which alarms can be shelved.
func (listPage) Spans() any { return spans }

func (s *Server) alarmsPage(r *http.Request, f *frame) error {
	query := r.URL.Query()
	filter, err := parseFilter(query)
	if err != nil {
		return &fault{http.StatusBadRequest, err.Error()}
	}
	p := listPage{
		State: filter.Condition, Severity: query.Get("severity"), Site: filter.Site, Type: filter.Type,
		States: view.Conditions, Severities: []string{"warning", "minor", "major", "critical"},
	}
	for _, site := range f.board.Fleet.Sites {
		p.Sites = append(p.Sites, choice{ID: site.ID, Name: f.SiteName(site.ID)})
	}
	for _, t := range s.cfg.Types {
		p.Types = append(p.Types, choice{ID: t.ID, Title: t.Title})
	}
	p.fill(f.board, filter, query)
	p.Rows, p.Back, p.Load = f.Rows(p.List), f.back, newLoadView(s.cfg.Engine.Load(f.Now))
	for i := range p.Rows {
		p.Rows[i].Pick = f.May("operate")
	}
	f.Page, f.Title = p, plural(p.Total, p.State+" alarm")
	return nil
}

func (p *listPage) fill(b *view.Board, filter view.Filter, query url.Values) {
	all := b.AlarmList(filter)
	p.Total, p.Heading = len(all), heading(filter.Condition)
	var ok bool
	p.List, p.Next, ok = view.Page(all, pageLimit, query.Get("after"), func(a view.Alarm) string { return a.ID })
	if !ok { // the alarm to go on after is gone: begin again
		p.List, p.Next, _ = view.Page(all, pageLimit, "", func(a view.Alarm) string { return a.ID })
	}
	if p.Next != "" {
		query.Set("after", p.Next)
		p.Next = "/alarms?" + query.Encode()
	}
	if filter.Condition != view.Active {
		return
	}
	filter.Condition = view.Held
	p.Held = b.AlarmList(filter)
	filter.Condition = view.OnShelf
	p.Shelved = b.AlarmList(filter)
}

func heading(condition string) string {
	switch condition {
	case view.All:
		return "in the list"
	case view.New:
		return "that nobody has taken on"
	}
	return condition
}

// parseFilter reads the filter of a list from a query.
func parseFilter(q url.Values) (view.Filter, error) {
	f := view.Filter{Condition: q.Get("state"), Site: q.Get("site"), Type: q.Get("type"), Resource: q.Get("resource")}
	if f.Condition == "" {
		f.Condition = view.Active
	}
	if word := q.Get("severity"); word != "" {
		var err error
		if f.AtLeast, err = alarms.ParseSeverity(word); err != nil {
			return f, err
		}
	}
	return f, f.Check()
}

// act is a button of an alarm's page.
type act struct{ Do, Word string }

// spans are the times for which the page offers to shelve.
var spans = []struct{ Value, Word string }{
	{"1h", "1 hour"}, {"4h", "4 hours"}, {"8h", "8 hours"}, {"24h", "1 day"}, {"72h", "3 days"}, {"168h", "7 days"},
}

// alarmView is what the page of one alarm shows.
type alarmView struct {
	row
	TypeTitle, TypeWhy, ClearsBy string
	ResourceHref                 string
	Acts                         []act
	MayShelve                    bool
	Relatives                    []view.Alarm
}

// Spans lists the times for which the alarm can be shelved.
func (alarmView) Spans() any { return spans }

func (s *Server) alarmPage(r *http.Request, f *frame) error {
	a, ok := f.board.Alarm(r.PathValue("id"))
	if !ok {
		return notFound("there is no such alarm in the list; it may have been purged")
	}
	v := alarmView{row: f.row(a), ResourceHref: href(f.board, a.Resource)}
	for _, t := range s.cfg.Types {
		if t.ID == a.Type {
			v.TypeTitle, v.TypeWhy, v.ClearsBy = t.Title, t.Why, t.ClearsBy
		}
	}
	if f.May("operate") {
		v.Acts, v.MayShelve = acts(&a.Alarm), !view.IsShelved(&a.Alarm)
	}
	v.Relatives = append(f.board.ByKey(a.Related), f.board.Consequences(a.Alarm)...)
	v.Relatives = slices.CompactFunc(v.Relatives, func(x, y view.Alarm) bool { return x.ID == y.ID })
	f.Page, f.Title = v, a.Text
	return nil
}

func acts(a *alarms.Alarm) []act {
	if view.IsShelved(a) {
		return []act{{"unshelve", "Take off the shelf"}}
	}
	var out []act
	if a.Operator != alarms.OperatorAck {
		out = append(out, act{"acknowledge", "Acknowledge"})
	}
	if a.Operator != alarms.OperatorClosed {
		out = append(out, act{"close", "Close"})
	}
	if a.Operator == alarms.OperatorAck || a.Operator == alarms.OperatorClosed {
		out = append(out, act{"reopen", "Reopen"})
	}
	return append(out, act{"comment", "Only comment"})
}

// href is the page of a resource, or "" when it has none.
func href(b *view.Board, resource string) string {
	switch kind, id, _ := view.Resource(resource); kind {
	case "unit":
		return "/units/" + id
	case "site":
		return "/sites/" + id
	case "link":
		if _, ok := b.Fleet.Link(id); ok {
			return "/links/" + id
		}
	case "cable":
		if c, ok := b.Fleet.Cable(id); ok {
			return "/sites/" + c.Site
		}
	}
	return ""
}

// local tells whether a form may lead back to that address: a path of this
// server and nothing that a browser takes for another host.
func local(path string) bool {
	return strings.HasPrefix(path, "/") && !strings.HasPrefix(path, "//") && !strings.ContainsAny(path, "\\\r\n\t")
}
