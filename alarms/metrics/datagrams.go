package metrics

var datagrams = counter("snmp_datagrams_total", "Datagrams of the SNMP engine by what became of them: sent, received; of those received, stray (from where nothing was asked) and "+
	"aside (from a unit, but no answer that counts); of those sent, undelivered (given back by the network).", "datagrams")

func datagramFamilies() []*family { return []*family{datagrams} }

func (m *Metrics) fillDatagrams(out *sheet) {
	if m.cfg.Datagrams == nil {
		return
	}
	s := m.cfg.Datagrams()
	for _, n := range []struct {
		what  string
		count uint64
	}{{"sent", s.Sent}, {"received", s.Received}, {"stray", s.Stray}, {"aside", s.Aside}, {"undelivered", s.Undelivered}} {
		out.put(datagrams, float64(n.count), n.what)
	}
}
