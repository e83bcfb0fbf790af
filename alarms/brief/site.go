package brief

import (
	"context"
	"slices"
	"strings"
	"time"

	"lightwell/alarms"
	"lightwell/alarms/chart"
	"lightwell/alarms/visit"
	"lightwell/collector"
)

// A Brief is what a visit to a site needs.
type Brief struct {
	Site     string        `json:"site"`
	Name     string        `json:"name"`
	Address  string        `json:"address,omitempty"`
	Access   string        `json:"access,omitempty"`
	Made     time.Time     `json:"made"`
	Jobs     []Job         `json:"jobs" doc:"What is wrong, most urgent first."`
	Measure  []string      `json:"measure" doc:"What to measure first, before anything is touched."`
	Bring    []string      `json:"bring" doc:"Spares and tools for all jobs."`
	Cautions []string      `json:"cautions" doc:"Safety for this work. Local codes and licensed persons decide."`
	Planned  []string      `json:"planned_work,omitempty"`
	Visits   []visit.Visit `json:"visits" doc:"Of the site, newest first."`
	Links    []LinkLevel   `json:"links" doc:"Every direction of every link."`
	Margins  []Margin      `json:"margins" doc:"What links have left, where it is known."`
	Note     string        `json:"note,omitempty" doc:"What is missing, and why."`

	trends []trend
	scene  *scene
}

// A LinkLevel is how one direction of a link stands.
type LinkLevel struct {
	Link      string   `json:"link"`
	Name      string   `json:"name,omitempty"`
	Direction string   `json:"direction"`
	Unit      string   `json:"unit" doc:"That receives."`
	Point     string   `json:"point"`
	DBm       *float64 `json:"dbm,omitempty" doc:"Missing while it is not known."`
	Baseline  *float64 `json:"baseline_dbm,omitempty"`
	LostDB    *float64 `json:"lost_db,omitempty" doc:"Since the baseline, at equal temperature."`
	MonthDB   *float64 `json:"db_per_month,omitempty" doc:"Loss a month; positive is worse."`
	Forecast  string   `json:"forecast,omitempty" doc:"When its nearest limit is reached, if it goes on so."`
	Affected  bool     `json:"affected" doc:"A job touches the link."`
}

// Margin is what one link has left.
type Margin struct {
	Link      string  `json:"link"`
	Direction string  `json:"direction"`
	LostDB    float64 `json:"lost_db"`
	LeftDB    float64 `json:"left_db" doc:"Optical dB until the service fails."`
	Says      string  `json:"says"`
}

// untouched comes before every measurement.
const untouched = "Before anything is touched: write down the levels that both ends of each link show, and take a picture of the patch."

// Site makes the brief of a site.
func (w *Writer) Site(ctx context.Context, site string, now time.Time) (*Brief, error) {
	s, err := w.scene(site, now)
	if err != nil {
		return nil, err
	}
	b := &Brief{
		Site: site, Name: s.siteName(), Address: s.site.Address, Access: s.site.Access, Made: now,
		Jobs: []Job{}, Bring: []string{}, Cautions: []string{}, Visits: []visit.Visit{}, Links: []LinkLevel{}, Margins: []Margin{}, scene: s,
	}
	b.Jobs = append(b.Jobs, jobs(w.s.Alarms(alarms.Filter{Site: site, Clearance: alarms.ClearanceNotCleared, Shelving: alarms.ShelvingAny}))...)
	b.merge()
	b.planned()
	if w.s.Visits != nil {
		if b.Visits, err = w.s.Visits(visit.Filter{Site: site, Limit: 20}); err != nil {
			b.note("Earlier visits could not be read: " + err.Error() + ".")
		}
	}
	b.levels()
	b.trends = w.trends(ctx, b)
	return b, nil
}

// merge brings together what the jobs need.
func (b *Brief) merge() {
	b.Measure = []string{untouched}
	var codes []string // come last, once
	for _, j := range b.Jobs {
		if j.NoVisit {
			continue
		}
		b.Measure = union(b.Measure, []string{j.Measure})
		b.Bring = union(b.Bring, j.Bring)
		for _, c := range j.Cautions {
			if strings.HasPrefix(c, "Local codes") {
				codes = union(codes, []string{c})
				continue
			}
			b.Cautions = union(b.Cautions, []string{c})
		}
	}
	b.Cautions = append(b.Cautions, codes...)
}

func (b *Brief) note(text string) { b.Note = strings.TrimSpace(b.Note + " " + text) }

// planned lists the planned work that touches the site.
func (b *Brief) planned() {
	s := b.scene
	for _, w := range s.fleet.PlannedWork {
		if !slices.ContainsFunc(w.Resources, s.holds) {
			continue
		}
		says := w.ID
		if w.Reason != "" {
			says += ", " + w.Reason
		}
		b.Planned = append(b.Planned, says+": "+strings.Join(w.Resources, ", ")+"; starts "+w.Start+", lasts "+hours(w.Duration))
	}
}

// holds tells whether a resource is of the site.
func (s *scene) holds(resource string) bool {
	kind, id, _ := strings.Cut(resource, "/")
	switch kind {
	case "site":
		return id == s.site.ID
	case "cable":
		c, _ := s.fleet.Cable(id)
		return c.Site == s.site.ID
	case "link":
		l, _ := s.fleet.Link(id)
		u, _ := s.fleet.Unit(l.Indoor)
		return u.Site == s.site.ID
	}
	u, _ := s.fleet.Unit(id)
	return u.Site == s.site.ID
}

// levels fills in how the links stand.
func (b *Brief) levels() {
	s := b.scene
	for _, l := range s.fleet.LinksAt(b.Site) {
		affected := slices.ContainsFunc(b.Jobs, func(j Job) bool { return slices.Contains(j.Links, l.ID) })
		for _, f := range s.fleet.Fibres(l) {
			b.Links = append(b.Links, s.level(l, f, affected))
		}
		if m, ok := s.margin(l); ok {
			b.Margins = append(b.Margins, Margin{l.ID, m.Direction, m.Lost, m.LeftDB, m.Sentence()})
		}
	}
}

func (s *scene) level(l collector.Link, f collector.Fibre, affected bool) LinkLevel {
	out := LinkLevel{Link: l.ID, Name: l.Name, Direction: f.Name, Unit: f.To.Unit, Point: f.Receiver().String(), Affected: affected}
	u := s.unit(f.To.Unit)
	if v, _, ok := u.Good(f.Receiver()); ok {
		out.DBm = &v
	}
	if u == nil {
		return out
	}
	pv := u.Points[f.Receiver()]
	if pv.Baseline != nil {
		out.Baseline = &pv.Baseline.Value
	}
	if pv.Compared {
		lost := -pv.Deviation
		out.LostDB = &lost
	}
	if t := pv.Trend; t != nil && t.Drift {
		out.MonthDB = &t.SlopeDBPerMonth
	}
	if f, ok := nearest(pv.Forecasts); ok {
		out.Forecast = f.Limit + ": " + f.Forecast.String()
	}
	return out
}

// nearest returns the forecast whose limit comes first.
func nearest(all []alarms.Forecast) (out alarms.Forecast, ok bool) {
	for _, f := range all {
		if !ok || f.Lower < out.Lower {
			out, ok = f, true
		}
	}
	return out, ok
}

// trend is one picture of the brief.
type trend struct {
	link     string
	affected bool
	of       *chart.Trend
	says     string
}
