package web

import (
	"context"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"lightwell/alarms/visit"
	"lightwell/alarms/web/access"
)

// Visits is the book of visits.
type Visits interface {
	Begin(ctx context.Context, r visit.Begin, who visit.Actor, now time.Time) (visit.Visit, error)
	End(ctx context.Context, id string, r visit.End, who visit.Actor, now time.Time) (visit.Visit, error)
	Proof(id string, now time.Time) (visit.Proof, error)
	List(f visit.Filter) ([]visit.Visit, error)
	Open(site string) (visit.Visit, bool)
}

// beginVisit is the body that begins a visit.
type beginVisit struct {
	visit.Begin
	Minutes int `json:"limit_minutes,omitempty" minimum:"10" maximum:"4320" doc:"After how long it ends by itself; missing: 12 hours."`
}

// visitFilter is the query of the list of visits.
type visitFilter struct {
	Site  string `query:"site" maxLength:"200"`
	Open  bool   `query:"open" doc:"Only visits that are open or whose levels are still being read."`
	After string `query:"after" maxLength:"20" doc:"Value of next of the page before."`
	Limit int    `query:"limit" minimum:"1" maximum:"1000" default:"100" doc:"Most visits wanted."`
}

// visitPage is a page of the list of visits.
type visitPage struct {
	Items []visit.Visit `json:"items"`
	Next  string        `json:"next,omitempty" doc:"Value of after for older visits; missing at the end."`
}

func (s *Server) registerVisits(api huma.API) {
	if s.cfg.Visits == nil {
		return
	}
	read(s, api, "/visits", "visits", "Visits, newest first, without levels", func(_ context.Context, in *visitFilter) (*answer[visitPage], error) {
		page, err := s.visits(visit.Filter{Site: in.Site, Going: in.Open, Before: in.After, Limit: in.Limit})
		if err != nil {
			return nil, s.failed(err)
		}
		return &answer[visitPage]{page}, nil
	})
	read(s, api, "/visits/{id}", "visit", "One visit as proof of repair: alarms and every level before and after", func(_ context.Context, in *ByID) (*answer[visit.Proof], error) {
		p, err := s.cfg.Visits.Proof(in.ID, time.Now())
		if err != nil {
			return nil, s.failed(err)
		}
		return &answer[visit.Proof]{p}, nil
	})
	type beginInput struct{ Body beginVisit }
	write(s, api, access.Operate, "/visits", "visit-begin", "Begin a visit: alarms of what is worked on are held back from now on", func(ctx context.Context, in *beginInput) (*answer[visit.Visit], error) {
		in.Body.Limit = time.Duration(in.Body.Minutes) * time.Minute
		v, err := s.beginVisit(ctx, in.Body.Begin)
		if err != nil {
			return nil, s.failed(err)
		}
		return &answer[visit.Visit]{v}, nil
	})
	type endInput struct {
		ByID
		Body visit.End
	}
	write(s, api, access.Operate, "/visits/{id}/end", "visit-end", "End a visit: alarms speak again, and the levels after it are read", func(ctx context.Context, in *endInput) (*answer[visit.Proof], error) {
		if err := s.endVisit(ctx, in.ID, in.Body); err != nil {
			return nil, s.failed(err)
		}
		p, err := s.cfg.Visits.Proof(in.ID, time.Now())
		if err != nil {
			return nil, s.failed(err)
		}
		return &answer[visit.Proof]{p}, nil
	})
	write(s, api, access.Commission, "/visits/{id}/capture", "visit-capture", "Begin captures at the units that need a new baseline", func(ctx context.Context, in *ByID) (*answer[visit.Proof], error) {
		p, err := s.captureAfter(access.Who(ctx), in.ID)
		if err != nil {
			return nil, s.failed(err)
		}
		return &answer[visit.Proof]{p}, nil
	})
}

// visits returns a page of the list, with the id to go on after.
func (s *Server) visits(f visit.Filter) (visitPage, error) {
	want := f.Limit
	f.Limit++
	list, err := s.cfg.Visits.List(f)
	if err != nil {
		return visitPage{}, err
	}
	page := visitPage{Items: list[:min(want, len(list))]}
	if len(list) > want {
		page.Next = list[want-1].ID
	}
	return page, nil
}

func (s *Server) beginVisit(ctx context.Context, r visit.Begin) (visit.Visit, error) {
	who := access.Who(ctx)
	v, err := s.cfg.Visits.Begin(ctx, r, visit.Actor{Name: who.Name, From: who.From}, time.Now())
	if err == nil {
		s.hub.changed()
	}
	return v, err
}

func (s *Server) endVisit(ctx context.Context, id string, r visit.End) error {
	who := access.Who(ctx)
	_, err := s.cfg.Visits.End(ctx, id, r, visit.Actor{Name: who.Name, From: who.From}, time.Now())
	if err == nil {
		s.hub.changed()
	}
	return err
}

// captureAfter begins a capture at each unit that a visit left off its
// baseline.
func (s *Server) captureAfter(by access.Person, id string) (visit.Proof, error) {
	p, err := s.cfg.Visits.Proof(id, time.Now())
	if err != nil {
		return p, err
	}
	if len(p.Rebaseline) == 0 {
		return p, errNoCapture
	}
	return p, s.begin(p.Rebaseline, by)
}

// visitLists are the visits on the page that lists them.
type visitLists struct {
	Going, Over []visit.Visit
	Next        string
}

// visitsShown is how many visits one page lists.
const visitsShown = 100

func (s *Server) visitsPage(r *http.Request, f *frame) error {
	going, err := s.visits(visit.Filter{Going: true, Limit: visitsShown})
	page := visitPage{}
	if err == nil {
		page, err = s.visits(visit.Filter{Before: r.URL.Query().Get("after"), Limit: visitsShown})
	}
	if err != nil {
		return err
	}
	lists := visitLists{Going: going.Items, Next: page.Next}
	for _, v := range page.Items {
		if v.State == visit.Closed {
			lists.Over = append(lists.Over, v)
		}
	}
	f.Page, f.Title = lists, "Visits"
	return nil
}

func (s *Server) visitPage(r *http.Request, f *frame) error {
	p, err := s.cfg.Visits.Proof(r.PathValue("id"), f.Now)
	if err != nil {
		return err
	}
	f.Page, f.Title = p, "Visit "+p.ID+" to "+p.SiteName
	return nil
}

func (s *Server) visitBeginForm(w http.ResponseWriter, r *http.Request) {
	v, err := s.beginVisit(r.Context(), visit.Begin{
		Site: r.PathValue("id"), By: r.PostFormValue("by"), Reason: r.PostFormValue("reason"),
	})
	s.visitDone(w, r, v.ID, err)
}

func (s *Server) visitForm(w http.ResponseWriter, r *http.Request) {
	id := r.PathValue("id")
	switch who := access.Who(r.Context()); r.PostFormValue("do") {
	case "end":
		s.visitDone(w, r, id, s.endVisit(r.Context(), id, visit.End{Found: r.PostFormValue("found"), Done: r.PostFormValue("done")}))
	case "capture":
		if !who.Role.May(access.Commission) {
			s.problem(w, r, http.StatusForbidden, refusal(who, access.Commission))
			return
		}
		_, err := s.captureAfter(who, id)
		s.visitDone(w, r, id, err)
	default:
		s.problem(w, r, http.StatusBadRequest, "the form does not say what to do with the visit")
	}
}

func (s *Server) visitDone(w http.ResponseWriter, r *http.Request, id string, err error) {
	if err != nil {
		s.problem(w, r, statusOf(err), s.reason(err, statusOf(err)))
		return
	}
	http.Redirect(w, r, "/visits/"+id, http.StatusSeeOther)
}

// Visit is the open visit of a site, on its page; nil: there is none.
func (f *frame) Visit(site string) *visit.Visit {
	if f.visit == nil {
		return nil
	}
	if v, open := f.visit(site); open {
		return &v
	}
	return nil
}

// visitRows are visits for the table that lists them.
type visitRows struct {
	Frame *frame
	List  []visit.Visit
}

// VisitRows makes rows of visits.
func (f *frame) VisitRows(list []visit.Visit) visitRows { return visitRows{f, list} }
