package plant

import (
	"fmt"
	"slices"
	"strings"

	"lightwell/collector/document"
)

// wrong is one thing wrong with a fault: the key it is at, and a remedy.
type wrong struct{ key, what, remedy string }

// check returns everything that is wrong with f in this plant.
func (p *Plant) check(f Fault) []wrong {
	k := kindOf(f.Kind)
	if k == nil {
		names := make([]string, len(kinds))
		for i := range kinds {
			names[i] = kinds[i].Name
		}
		return []wrong{{"fault", fmt.Sprintf("unknown fault %q", f.Kind), document.Nearest(f.Kind, names)}}
	}
	all := p.checkTarget(f, k)
	switch {
	case f.Direction != "" && f.Link == "":
		all = append(all, wrong{"direction", "a direction needs a link", "name a link, or remove it"})
	case !slices.Contains([]string{"", "downlink", "uplink", "both"}, f.Direction):
		all = append(all, wrong{"direction", fmt.Sprintf("unknown direction %q", f.Direction), "use downlink, uplink or both"})
	}
	switch {
	case f.Size != 0 && k.Unit == "":
		all = append(all, wrong{"size", k.Name + " has no size", "remove it"})
	case f.Size != 0 && !(f.Size >= k.Min && f.Size <= k.Max):
		all = append(all, wrong{"size", fmt.Sprintf("size %g is not within %g to %g %s", f.Size, k.Min, k.Max, k.Unit), "use a size within the range"})
	}
	return append(all, p.checkNeeds(f, k)...)
}

// targets returns what f names, as key and value.
func (f Fault) targets() [][2]string {
	var named [][2]string
	for _, t := range [][2]string{{"unit", f.Unit}, {"link", f.Link}, {"cable", f.Cable}, {"site", f.Site}} {
		if t[1] != "" {
			named = append(named, t)
		}
	}
	return named
}

var targetNames = map[string]Target{"unit": AtUnit, "link": AtLink, "cable": AtCable, "site": AtSite}

func (t Target) String() string {
	var names []string
	for _, name := range []string{"unit", "link", "cable", "site"} {
		if t&targetNames[name] != 0 {
			names = append(names, name)
		}
	}
	return strings.Join(names, " or ")
}

func (p *Plant) checkTarget(f Fault, k *Kind) []wrong {
	named := f.targets()
	if len(named) != 1 {
		return []wrong{{"fault", fmt.Sprintf("%d targets named", len(named)), "name one " + k.Targets.String()}}
	}
	key, id := named[0][0], named[0][1]
	if targetNames[key]&k.Targets == 0 {
		return []wrong{{key, fmt.Sprintf("%s cannot strike a %s", k.Name, key), "name a " + k.Targets.String()}}
	}
	var known []string
	switch key {
	case "unit":
		for _, u := range p.fleet.Units {
			known = append(known, u.ID)
		}
	case "link":
		for _, l := range p.fleet.Links {
			known = append(known, l.ID)
		}
	case "cable":
		for _, c := range p.fleet.Cables {
			known = append(known, c.ID)
		}
	default:
		for _, s := range p.fleet.Sites {
			known = append(known, s.ID)
		}
	}
	if !slices.Contains(known, id) {
		return []wrong{{key, fmt.Sprintf("unknown %s %q", key, id), document.Nearest(id, known)}}
	}
	if u, ok := p.byUnit[f.Unit]; ok && k.Role != "" && p.units[u].info.Role != k.Role {
		return []wrong{{key, fmt.Sprintf("%s strikes only %s units", k.Name, k.Role), "name an " + string(k.Role) + " unit"}}
	}
	return nil
}

// checkNeeds checks the port of a supply and the point of a monitor.
func (p *Plant) checkNeeds(f Fault, k *Kind) []wrong {
	var all []wrong
	if k.Needs != "port" && f.Port != "" {
		all = append(all, wrong{"port", k.Name + " strikes no single supply", "remove it"})
	}
	if k.Needs != "point" && f.Point != "" {
		all = append(all, wrong{"point", k.Name + " strikes no single reading", "remove it"})
	}
	i, ok := p.byUnit[f.Unit]
	if !ok {
		return all
	}
	u := p.units[i]
	if k.Needs == "port" && !slices.Contains(u.supplies, f.Port) {
		all = append(all, wrong{"port", fmt.Sprintf("unit %q has no supply %q", u.id, f.Port), document.Nearest(f.Port, u.supplies)})
	}
	if k.Needs == "point" {
		var points []string
		for _, pt := range u.points {
			points = append(points, pt.codec.Point.String())
		}
		if !slices.Contains(points, f.Point) {
			all = append(all, wrong{"point", fmt.Sprintf("unit %q has no reading %q", u.id, f.Point), document.Nearest(f.Point, points)})
		}
	}
	return all
}
