package view

import (
	"time"

	"lightwell/alarms"
	"lightwell/collector"
)

// Work is one line of planned work.
type Work struct {
	ID        string        `json:"id"`
	Reason    string        `json:"reason,omitempty"`
	Resources []string      `json:"resources"`
	Start     string        `json:"start" doc:"Cron expression or RFC 3339 time."`
	Duration  time.Duration `json:"-"`
	Seconds   float64       `json:"duration_seconds"`
	Now       bool          `json:"in_force"`
}

// SiteRow is a site in a list.
type SiteRow struct {
	ID        string `json:"id"`
	Name      string `json:"name"`
	State     State  `json:"state"`
	Alarms    Counts `json:"alarms" doc:"Alarms that ask for attention, per severity."`
	Units     int    `json:"units"`
	Silent    int    `json:"units_silent" doc:"Units that did not answer the last poll, or were never read."`
	Links     int    `json:"links"`
	Hurt      int    `json:"links_hurt" doc:"Links at which an alarm is raised that no twin stands in for."`
	Work      string `json:"planned_work,omitempty" doc:"Id of the planned work in force."`
	LocalTime string `json:"-"`
}

// Site is everything about one site.
type Site struct {
	SiteRow
	Address  string         `json:"address,omitempty"`
	Access   string         `json:"access,omitempty"`
	TimeZone string         `json:"time_zone"`
	Location *time.Location `json:"-"`
	UnitRows []UnitRow      `json:"unit_list"`
	LinkRows []Link         `json:"link_list"`
	Alarm    []Alarm        `json:"alarm_list" doc:"Raised alarms, most urgent first, with those held back."`
	Planned  []Work         `json:"planned_work_list,omitempty"`
	// Findings are shared: not to be changed.
	Findings []alarms.Finding `json:"findings,omitempty" doc:"What the deviations of the site have in common, what explains most first."`
}

// Overview is the fleet at a glance.
type Overview struct {
	Time      time.Time `json:"time"`
	Alarms    Counts    `json:"alarms"`
	Units     int       `json:"units"`
	Silent    int       `json:"units_silent"`
	Links     int       `json:"links"`
	Hurt      int       `json:"links_hurt"`
	Held      int       `json:"alarms_held"`
	Shelved   int       `json:"alarms_shelved"`
	Attention []Alarm   `json:"attention" doc:"Causes, not symptoms; most urgent first."`
	Sites     []SiteRow `json:"sites"`
	LinkRows  []Link    `json:"-"`
}

// Overview returns the fleet at a glance.
func (b *Board) Overview() Overview {
	f := Overview{Time: b.Now, Units: len(b.Fleet.Units), Links: len(b.Fleet.Links), LinkRows: b.each(b.glance)}
	f.Attention = b.attention(func(*alarms.Alarm) bool { return true })
	for _, a := range f.Attention {
		f.Alarms.add(a.Severity)
	}
	for i := range b.Alarms {
		switch a := &b.Alarms[i]; {
		case IsShelved(a):
			f.Shelved++
		case !a.Cleared && a.Hold.Reason != "":
			f.Held++
		}
	}
	f.Sites = b.siteRows(f.Attention, f.LinkRows)
	for _, s := range f.Sites {
		f.Silent += s.Silent
		f.Hurt += s.Hurt
	}
	return f
}

// Sites returns all sites, in the order of the fleet file.
func (b *Board) Sites() []SiteRow {
	return b.siteRows(b.attention(func(*alarms.Alarm) bool { return true }), b.each(b.glance))
}

func (b *Board) siteRows(attention []Alarm, links []Link) []SiteRow {
	rows := make([]SiteRow, len(b.Fleet.Sites))
	at := make(map[string]*SiteRow, len(rows))
	for i, s := range b.Fleet.Sites {
		rows[i] = SiteRow{ID: s.ID, Name: s.Name, State: StateGood}
		at[s.ID] = &rows[i]
		if b.During != nil {
			if w, on := b.During(b.resources(s.ID), b.Now); on {
				rows[i].Work = w.ID
			}
		}
	}
	for _, a := range attention {
		if r := at[a.Site]; r != nil {
			r.Alarms.add(a.Severity)
		}
	}
	for _, l := range links {
		if r := at[l.Site]; r != nil {
			r.Links++
			if l.Hurt {
				r.Hurt++
			}
		}
	}
	for _, u := range b.Fleet.Units {
		if r := at[u.Site]; r != nil {
			r.Units++
			if v := b.units[u.ID]; v == nil || !v.Up() {
				r.Silent++
			}
		}
	}
	for i := range rows {
		rows[i].State = rows[i].sum()
	}
	return rows
}

func (r *SiteRow) sum() State {
	switch worst := r.Alarms.Worst(); {
	case worst != "":
		return State(worst)
	case r.Work != "":
		return StateHeld
	case r.Silent > 0:
		return StateSilent
	}
	return StateGood
}

// resources names a site and everything at it.
func (b *Board) resources(site string) []string {
	out := []string{"site/" + site}
	for _, u := range b.Fleet.UnitsAt(site) {
		out = append(out, "unit/"+u.ID)
	}
	for _, l := range b.Fleet.LinksAt(site) {
		out = append(out, "link/"+l.ID)
	}
	for _, c := range b.Fleet.Cables {
		if c.Site == site {
			out = append(out, "cable/"+c.ID)
		}
	}
	return out
}

// Site returns everything about one site.
func (b *Board) Site(id string) (Site, bool) {
	s, ok := b.Fleet.Site(id)
	if !ok {
		return Site{}, false
	}
	v := Site{Address: s.Address, Access: s.Access, Location: s.Location, LinkRows: []Link{}, UnitRows: []UnitRow{}}
	if s.Location != nil {
		v.TimeZone = s.Location.String()
	}
	for _, l := range b.Fleet.LinksAt(id) {
		v.LinkRows = append(v.LinkRows, b.link(l))
	}
	for _, row := range b.siteRows(b.attention(func(a *alarms.Alarm) bool { return a.Site == id }), v.LinkRows) {
		if row.ID == id {
			v.SiteRow = row
		}
	}
	for _, u := range b.Fleet.UnitsAt(id) {
		v.UnitRows = append(v.UnitRows, b.unitRow(u))
	}
	v.Alarm = append(b.AlarmList(Filter{Condition: Active, Site: id}), b.AlarmList(Filter{Condition: Held, Site: id})...)
	v.Planned, v.Findings = b.planned(b.resources(id)), b.findings(id)
	return v, true
}

func (b *Board) planned(resources []string) []Work {
	wanted := make(map[string]bool, len(resources))
	for _, r := range resources {
		wanted[r] = true
	}
	var out []Work
	for _, w := range b.Fleet.PlannedWork {
		for _, r := range w.Resources {
			if wanted[r] {
				out = append(out, b.work(w))
				break
			}
		}
	}
	return out
}

func (b *Board) work(w collector.PlannedWork) Work {
	v := Work{ID: w.ID, Reason: w.Reason, Resources: w.Resources, Start: w.Start, Duration: w.Duration, Seconds: w.Duration.Seconds()}
	if b.During != nil {
		on, ok := b.During(w.Resources, b.Now)
		v.Now = ok && on.ID == w.ID
	}
	return v
}
