package brief

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"lightwell/alarms"
	"lightwell/alarms/brief/paper"
)

// A Ranking is the order in which to go to sites.
type Ranking struct {
	Made  time.Time    `json:"made"`
	Sites []RankedSite `json:"sites"`
}

// A RankedSite is a site that asks for a visit.
type RankedSite struct {
	Site     string          `json:"site"`
	Name     string          `json:"name"`
	Severity alarms.Severity `json:"severity" doc:"Of its worst job."`
	Jobs     int             `json:"jobs"`
	Days     float64         `json:"days_left" doc:"Until a service may fail: the lower end of the nearest forecast, 0 where it has failed."`
	Reason   string          `json:"reason" doc:"Why it stands where it stands, in one line."`

	since time.Time
}

// assumed is how long a job without a forecast may wait. Service suffers at
// once from what is critical or major (RFC 8632); the rest is common practice:
// a season for what gets worse slowly, half a year for a notice.
var assumed = map[alarms.Severity]float64{alarms.Critical: 0, alarms.Major: 0, alarms.Minor: 90, alarms.Warning: 180}

// Rank orders the sites that ask for a visit: by how soon a service may fail
// there, then by severity, then by age. How soon is 0 with a critical or major
// alarm, else the lower end of the nearest forecast; an alarm without forecast
// counts as 90 days when it is minor and 180 when it is a warning. Alarms that
// are shelved, held back by planned work, or need nobody there do not count.
func (w *Writer) Rank(now time.Time) *Ranking {
	fleet := w.s.Fleet()
	at := map[string]*RankedSite{}
	for _, s := range fleet.Sites {
		at[s.ID] = &RankedSite{Site: s.ID, Name: named(s.Name, s.ID), Days: -1}
	}
	bySite := map[string][]alarms.Alarm{}
	for _, a := range w.s.Alarms(alarms.Filter{Clearance: alarms.ClearanceNotCleared}) {
		bySite[a.Site] = append(bySite[a.Site], a)
	}
	ends := w.ends(now)
	for id, r := range at {
		r.judge(jobs(bySite[id]), ends[id])
	}
	out := &Ranking{Made: now, Sites: []RankedSite{}}
	for _, s := range fleet.Sites {
		if r := at[s.ID]; r.Days >= 0 {
			out.Sites = append(out.Sites, *r)
		}
	}
	slices.SortStableFunc(out.Sites, func(a, b RankedSite) int {
		return cmp.Or(cmp.Compare(a.Days, b.Days), cmp.Compare(b.Severity, a.Severity), a.since.Compare(b.since))
	})
	return out
}

// judge says how urgent the site is. end is its nearest forecast; nil: none.
func (r *RankedSite) judge(list []Job, end *end) {
	for _, j := range list {
		if j.NoVisit || j.Held != "" {
			continue
		}
		if r.Jobs++; r.Jobs == 1 { // jobs are sorted: the first is the worst
			r.Severity, r.since, r.Days = j.Severity, j.Since, assumed[j.Severity]
			r.Reason = j.Severity.String() + ": " + j.Title
		}
	}
	if end != nil && r.Severity < alarms.Major {
		r.Days, r.Reason = end.days, end.reason
	}
}

// end is when a service may fail by a forecast.
type end struct {
	days   float64
	reason string
}

// ends returns the nearest forecast of each site.
func (w *Writer) ends(now time.Time) map[string]*end {
	out := map[string]*end{}
	units := w.s.Units()
	for i := range units {
		u := &units[i]
		for p, pv := range u.Points {
			f, ok := failing(pv.Forecasts)
			if !ok {
				continue
			}
			info, _ := p.Quantity.Info()
			e := &end{max(0, (f.Lower-now.Sub(f.Made)).Hours()/24), fmt.Sprintf("%s of %s reaches its limit (%s) %s", info.Title, u.Unit.ID, f.Limit, f.Forecast.String())}
			if was := out[u.Unit.Site]; was == nil || e.days < was.days || e.days == was.days && e.reason < was.reason {
				out[u.Unit.Site] = e
			}
		}
	}
	return out
}

// failing returns the nearest forecast of the end of service; where nothing is
// known that would end it, that of a loss of 3 dB.
func failing(all []alarms.Forecast) (alarms.Forecast, bool) {
	ends := slices.DeleteFunc(slices.Clone(all), func(f alarms.Forecast) bool { return f.Limit == alarms.LimitLoss })
	if f, ok := nearest(ends); ok {
		return f, true
	}
	return nearest(all)
}

// Document sets the order of visits.
func (r *Ranking) Document() *paper.Document {
	d := &paper.Document{
		Title: "Order of visits", Subtitle: "State of " + r.Made.UTC().Format("2 Jan 2006 15:04 MST") + ".",
		Foot: "Order of visits, " + r.Made.UTC().Format("2 Jan 2006 15:04 MST"), Made: r.Made,
	}
	if len(r.Sites) == 0 {
		d.Add(paper.Text{Text: "No site asks for a visit."})
		return d
	}
	t := paper.Table{Head: []string{"", "Site", "Severity", "Days left", "Why"}, Shares: []float64{0.3, 1.6, 0.8, 0.7, 4}, Right: []int{0, 3}}
	for i, s := range r.Sites {
		t.Rows = append(t.Rows, []string{fmt.Sprint(i + 1), s.Name, severity(s.Severity), fmt.Sprintf("%.0f", s.Days), s.Reason})
	}
	d.Add(t, paper.Text{Small: true, Text: "Ordered by the days until a service may fail: none with a critical or major alarm, else the lower end of the forecast. " +
		"Without a forecast a minor alarm counts as 90 days and a warning as 180."})
	return d
}

func severity(s alarms.Severity) string {
	if s == 0 {
		return "\u2013"
	}
	return s.String()
}
