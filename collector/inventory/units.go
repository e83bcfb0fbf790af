package inventory

import (
	"cmp"
	"fmt"
	"net"
	"net/netip"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"lightwell/collector"
	"lightwell/collector/document"
)

func (l *loader) checkUnits() {
	for i := range l.units {
		l.unit[l.units[i].T.ID] = &l.units[i]
	}
	sitePoll := map[string]string{}
	for i := range l.sites {
		sitePoll[l.sites[i].T.ID] = l.sites[i].T.Poll
	}
	owner := map[string]string{} // address, or via and model, to the unit that has it
	for i := range l.units {
		e := &l.units[i]
		u := collector.Unit{ID: e.T.ID, Name: cmp.Or(e.T.Name, e.T.ID), Site: e.T.Site, Role: collector.Role(e.T.Role), Via: e.T.Via, Credentials: e.T.Credentials}
		u.Poll = cmp.Or(e.T.Poll, sitePoll[u.Site], e.poll, l.o.DefaultPoll)
		l.refer(e.place, "site", "site", u.Site)
		l.checkPoll(e.place, e.T.Poll, l.site[u.Site].Location)
		l.checkRole(e)
		u.Equipment = l.equipment(e)
		l.reach(e, &u, owner)
		l.out.Units = append(l.out.Units, u)
	}
}

func (l *loader) checkRole(e *entry[unitLayout]) {
	roles := []string{string(collector.Outdoor), string(collector.Indoor)}
	if e.T.Role != "" && !slices.Contains(roles, e.T.Role) {
		l.fault(e.place, "role", document.Nearest(e.T.Role, roles), "unknown role %q", e.T.Role)
	}
}

// equipment returns what the unit's model says, less the supplies that are
// not fitted.
func (l *loader) equipment(e *entry[unitLayout]) collector.Equipment {
	if e.T.Model == "" {
		return collector.Equipment{}
	}
	m, ok := l.o.Models.Model(e.T.Model)
	if !ok {
		l.fault(e.place, "model", document.Nearest(e.T.Model, l.o.Models.Names()), "unknown model %q", e.T.Model)
		return collector.Equipment{}
	}
	if role := collector.Role(e.T.Role); (role == collector.Indoor || role == collector.Outdoor) && !m.Suits(role) {
		l.fault(e.place, "role", fmt.Sprintf("correct the role or the model; %s is for %s", m.Name, m.Roles[0]), "model %s does not suit the role %s", m.Name, role)
	}
	eq := m.Equipment
	if n := e.T.Supplies; n != nil {
		if *n < 1 || *n > eq.Supplies {
			l.fault(e.place, "supplies", fmt.Sprintf("write 1 to %d, or leave it out", eq.Supplies), "model %s has %d supplies, not %d", m.Name, eq.Supplies, *n)
			return eq
		}
		eq.Supplies, eq.Points = *n, fitted(eq.Points, *n)
	}
	return eq
}

// fitted returns the points without those of all supplies but the first n.
func fitted(points []collector.Point, n int) []collector.Point {
	var ports []string
	var out []collector.Point
	for _, p := range points {
		if p.Quantity == collector.SupplyState || p.Quantity == collector.SupplyVoltage {
			if !slices.Contains(ports, p.Port) {
				ports = append(ports, p.Port)
			}
			if slices.Index(ports, p.Port) >= n {
				continue
			}
		}
		out = append(out, p)
	}
	return out
}

// reach fills how the unit is read: at its own address or via another unit.
func (l *loader) reach(e *entry[unitLayout], u *collector.Unit, owner map[string]string) {
	switch {
	case e.T.Address != "" && e.T.Via != "":
		l.fault(e.place, "via", "keep address for a unit that answers itself, via for one that does not", "address and via are both given")
	case e.T.Address != "":
		u.Address = l.address(e)
		l.own(e, owner, "address", u.Address, "read a unit without an agent of its own via the one that answers")
		l.checkCredentials(e)
	case e.T.Via != "":
		l.via(e, u, owner)
	default:
		l.fault(e.place, "", "add address: 192.0.2.11, or via: and the unit that knows its values", "neither address nor via is given")
	}
}

func (l *loader) own(e *entry[unitLayout], owner map[string]string, key, what, remedy string) {
	if what == "" {
		return
	}
	if other, taken := owner[what]; taken {
		l.fault(e.place, key, remedy, "unit %q is read there already", other)
		return
	}
	owner[what] = e.T.ID
}

func (l *loader) checkCredentials(e *entry[unitLayout]) {
	switch {
	case l.o.Credentials == nil:
	case e.T.Credentials == "":
		l.fault(e.place, "", "add credentials: and a name from the daemon's configuration", "credentials are missing")
	case !slices.Contains(l.o.Credentials, e.T.Credentials):
		remedy := document.Nearest(e.T.Credentials, l.o.Credentials)
		if len(l.o.Credentials) == 0 {
			remedy = "describe them in the daemon's configuration"
		}
		l.fault(e.place, "credentials", remedy, "unknown credentials %q", e.T.Credentials)
	}
}

func (l *loader) via(e *entry[unitLayout], u *collector.Unit, owner map[string]string) {
	if e.T.Credentials != "" {
		l.fault(e.place, "credentials", "remove them", "credentials are those of the unit named by via")
	}
	if !l.refer(e.place, "via", "unit", e.T.Via) {
		return
	}
	through := l.unit[e.T.Via]
	switch {
	case through == nil:
		return
	case through == e:
		l.fault(e.place, "via", "name the unit that answers for it", "a unit cannot be read via itself")
		return
	case through.T.Address == "":
		l.fault(e.place, "via", "name a unit with an address", "unit %q has no address of its own", e.T.Via)
		return
	case through.T.Site != e.T.Site:
		l.fault(e.place, "via", "name a unit of the same site", "unit %q is at site %q", e.T.Via, through.T.Site)
	}
	address, _ := parseAddress(through.T.Address)
	u.Address, u.Credentials = address, through.T.Credentials
	l.own(e, owner, "via", e.T.Via+" "+e.T.Model, "name another unit: two of one model share the same objects there")
}

// DefaultPort is where agents listen (RFC 3417).
const DefaultPort = 161

func (l *loader) address(e *entry[unitLayout]) string {
	address, err := parseAddress(e.T.Address)
	if err != nil {
		l.fault(e.place, "address", "write a host, host:port, or [IPv6]:port", "address %q: %v", e.T.Address, err)
	}
	return address
}

var hostForm = regexp.MustCompile(`^[A-Za-z0-9]([A-Za-z0-9-]{0,61}[A-Za-z0-9])?(\.[A-Za-z0-9]([A-Za-z0-9-]{0,61}[A-Za-z0-9])?)*$`)

// parseAddress completes an address to host:port.
func parseAddress(s string) (string, error) {
	host, port := s, strconv.Itoa(DefaultPort)
	if isIPv6(s) {
		host = s
	} else if len(s) > 2 && s[0] == '[' && isIPv6(s[1:len(s)-1]) && s[len(s)-1] == ']' {
		host = s[1 : len(s)-1]
	} else if strings.Contains(s, ":") {
		var err error
		if host, port, err = net.SplitHostPort(s); err != nil {
			return "", fmt.Errorf("not host:port")
		}
		if n, err := strconv.ParseUint(port, 10, 16); err != nil || n == 0 {
			return "", fmt.Errorf("port %q is not 1 to 65535", port)
		}
	}
	if ip, err := netip.ParseAddr(host); err == nil {
		if ip.IsUnspecified() || ip.IsMulticast() {
			return "", fmt.Errorf("%s is not one unit's address", host)
		}
		return net.JoinHostPort(ip.String(), port), nil
	}
	last := host[strings.LastIndexByte(host, '.')+1:]
	if _, err := strconv.Atoi(last); err == nil || len(host) > 253 || !hostForm.MatchString(host) {
		return "", fmt.Errorf("%q is neither an IP address nor a host name", host)
	}
	return net.JoinHostPort(host, port), nil
}

func isIPv6(s string) bool {
	ip, err := netip.ParseAddr(s)
	return err == nil && ip.Is6()
}
