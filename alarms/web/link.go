package web

import (
	"context"
	"errors"
	"net/http"
	"time"

	"lightwell/alarms/brief"
	"lightwell/alarms/chart"
	"lightwell/alarms/web/view"
)

// zooms are the spans of time that a link's trends show.
var zooms = []struct {
	ID, Title string
	Back      time.Duration
}{{"day", "1 day", 24 * time.Hour}, {"month", "1 month", 30 * 24 * time.Hour}, {"all", "since commissioning", 0}}

// zoom is one of them as a link.
type zoom struct {
	ID, Title string
	Chosen    bool
}

// pictureAge is how old a trend on an open page may become.
const pictureAge = 5 * time.Minute

// linkView is what the page of a link shows.
type linkView struct {
	view.Link
	Diagrams []diagram
	Zooms    []zoom
	Span     string
	Drawn    int64 // changes when the pictures are to be drawn anew
	Raised   []view.Alarm
	Before   []view.Alarm
}

func (s *Server) linkPage(r *http.Request, f *frame) error {
	l, ok := f.board.Link(r.PathValue("id"))
	if !ok {
		return notFound("the fleet has no such link")
	}
	v := linkView{Link: l, Diagrams: diagrams(f.board, l), Span: "month", Drawn: f.Now.Truncate(pictureAge).Unix()}
	if span := r.URL.Query().Get("span"); span != "" {
		v.Span = span
	}
	known := false
	for _, z := range zooms {
		known = known || z.ID == v.Span
		v.Zooms = append(v.Zooms, zoom{z.ID, z.Title, z.ID == v.Span})
	}
	if !known {
		return &fault{http.StatusBadRequest, "a trend spans a day, a month or all"}
	}
	for _, a := range f.board.AtLink(l.ID) {
		if a.Cleared {
			v.Before = append(v.Before, a)
		} else {
			v.Raised = append(v.Raised, a)
		}
	}
	f.Page, f.Title = v, "Link "+l.ID
	return nil
}

// linkTrend is the picture of one direction of a link.
func (s *Server) linkTrend(w http.ResponseWriter, r *http.Request) {
	for _, z := range zooms {
		if z.ID != r.URL.Query().Get("span") {
			continue
		}
		ctx, cancel := context.WithTimeout(r.Context(), docTimeout)
		defer cancel()
		p, err := s.writer().Picture(ctx, r.PathValue("id"), r.URL.Query().Get("direction"), z.Back, time.Now())
		switch {
		case errors.Is(err, brief.ErrUnknown):
			s.problem(w, r, http.StatusNotFound, "the fleet has no such link and direction")
		case err != nil:
			s.faulty(w, r, err)
		default:
			h := w.Header()
			h.Set("Content-Type", "image/svg+xml")
			h.Set("Cache-Control", "private, max-age=300")
			_, _ = w.Write(chart.SVG(p.Of, chart.Wide))
		}
		return
	}
	s.problem(w, r, http.StatusBadRequest, "a trend spans a day, a month or all")
}
