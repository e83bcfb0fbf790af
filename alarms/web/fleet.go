package web

import (
	"cmp"
	"net/http"
	"slices"
	"strings"

	"lightwell/alarms/brief"
	"lightwell/alarms/web/view"
	"lightwell/collector"
)

// How much the page of the fleet shows before it only counts.
const (
	causesShown = 40
	visitsAhead = 5
	tilesUpTo   = 200 // links that have a tile each; beyond they share a band
	namedUpTo   = 5   // links of a site that are named beside a band
	cardsUpTo   = 40  // sites that have a card; beyond they share a list
	sitesUpTo   = 250
)

// What the fleet's sites can be narrowed to.
var fleetViews = []choice{{ID: "", Title: "all sites"}, {ID: "trouble", Title: "sites with trouble"}, {ID: "drift", Title: "sites where light is lost"}, {ID: "silent", Title: "sites with silent units"}}

// fleetView is what the page of the fleet shows.
type fleetView struct {
	view.Overview
	Find, Show string // of the query
	Shows      []choice
	Causes     []row
	More       int // causes not shown
	Next       []brief.RankedSite
	Cards      []card
	Rest       []card // sites in one line each
	Left       int    // sites not shown
	Found      int    // sites
	Named      bool   // links have tiles
}

// card is a site with its links.
type card struct {
	view.SiteRow
	Tiles []tile // every link, or those worth a name
	Band  band
	More  int     // links worth a name that have none
	Worst float64 // dB lost, the most of any link
}

// tile is a link at a glance.
type tile struct {
	ID, Site string
	State    view.State
	Said     string // what the drawing says, in words
	Well     string // path of the light in the drawing
}

func (s *Server) fleetPage(r *http.Request, f *frame) error {
	o := f.board.Overview()
	f.Title = plural(len(o.Attention), "cause") + " to see to"
	p := fleetView{Overview: o, Find: strings.TrimSpace(r.URL.Query().Get("find")), Show: r.URL.Query().Get("show"), Shows: fleetViews, Named: o.Links <= tilesUpTo}
	if !slices.ContainsFunc(fleetViews, func(c choice) bool { return c.ID == p.Show }) {
		return &fault{http.StatusBadRequest, "the fleet can be narrowed to trouble, drift or silent"}
	}
	p.Causes, p.More = f.causes(o.Attention)
	p.Next = s.writer().Rank(f.Now).Sites
	p.Next = p.Next[:min(len(p.Next), visitsAhead)]
	p.lay(f.board)
	f.Page = p
	return nil
}

// causes are the worst alarms, with the least margin of the links they hurt.
func (f *frame) causes(all []view.Alarm) ([]row, int) {
	shown := all[:min(len(all), causesShown)]
	out := make([]row, len(shown))
	for i, a := range shown {
		out[i] = f.row(a)
		for _, resource := range append([]string{a.Resource}, a.Details.Impacted[:min(len(a.Details.Impacted), 8)]...) {
			kind, id, _ := view.Resource(resource)
			if m := f.board.MarginOf(id); kind == "link" && m != nil && (out[i].Least == nil || m.LeftDB < out[i].Least.LeftDB) {
				out[i].Least, out[i].LeastLink = m, id
			}
		}
	}
	return out, len(all) - len(shown)
}

// lay sorts the sites that are wanted, worst first, into cards and lines.
func (p *fleetView) lay(b *view.Board) {
	links := map[string][]view.Link{}
	for _, l := range p.LinkRows {
		links[l.Site] = append(links[l.Site], l)
	}
	var cards []card
	for _, s := range p.Sites {
		c := newCard(s, links[s.ID], p.Named)
		if p.wants(&c) && (p.Find == "" || finds(b, s, links[s.ID], strings.ToLower(p.Find))) {
			cards = append(cards, c)
		}
	}
	slices.SortStableFunc(cards, func(x, y card) int {
		return cmp.Or(cmp.Compare(y.State.Rank(), x.State.Rank()), cmp.Compare(y.Hurt, x.Hurt), cmp.Compare(y.Worst, x.Worst))
	})
	p.Found = len(cards)
	p.Left = max(0, len(cards)-sitesUpTo)
	cards = cards[:len(cards)-p.Left]
	n := min(len(cards), cardsUpTo)
	if !p.Named {
		n = min(n, max(12, slices.IndexFunc(cards, func(c card) bool { return c.State == view.StateGood })))
	}
	p.Cards, p.Rest = cards[:n], cards[n:]
}

func (p *fleetView) wants(c *card) bool {
	switch p.Show {
	case "trouble":
		return c.Alarms.Total() > 0 || c.Hurt > 0
	case "drift":
		return c.Worst >= noticeDB
	case "silent":
		return c.Silent > 0
	}
	return true
}

// finds tells whether a word is in the name of a site, or of what is there.
func finds(b *view.Board, s view.SiteRow, links []view.Link, word string) bool {
	has := func(texts ...string) bool {
		return slices.ContainsFunc(texts, func(t string) bool { return strings.Contains(strings.ToLower(t), word) })
	}
	return has(s.ID, s.Name) ||
		slices.ContainsFunc(links, func(l view.Link) bool { return has(l.ID, l.Name) || has(l.Services...) }) ||
		slices.ContainsFunc(b.Fleet.UnitsAt(s.ID), func(u collector.Unit) bool { return has(u.ID, u.Name) })
}

func newCard(s view.SiteRow, links []view.Link, named bool) card {
	c := card{SiteRow: s}
	for i := range links {
		l := &links[i]
		lost := lost(l)
		c.Worst = max(c.Worst, lost)
		switch {
		case named:
		case lost < noticeDB && (l.State == view.StateGood || l.State == view.StateCommissioning):
			continue
		case len(c.Tiles) >= namedUpTo:
			c.More++
			continue
		}
		c.Tiles = append(c.Tiles, tile{l.ID, l.Site, l.State, lossWords(l), wellPath(l)})
	}
	if !named {
		c.Band = newBand(links)
	}
	return c
}

// lost is what a link has lost of its light, in its worse direction.
func lost(l *view.Link) float64 {
	worst := 0.0
	for _, d := range []view.Direction{l.Downlink, l.Uplink} {
		if d.ExtraLossDB != nil {
			worst = max(worst, *d.ExtraLossDB)
		}
	}
	return worst
}
