package diagnosis_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"lightwell/alarms"
	"lightwell/collector"
	"lightwell/collector/plant"
)

// wanted is what is to be found.
type wanted struct {
	row       int
	cause     string
	resource  string
	direction string
}

// draw is a generator of trials.
type draw struct{ *rand.Rand }

func (d draw) between(a, b float64) float64 { return a + (b-a)*d.Float64() }

// size draws between a and b, small ones more often.
func (d draw) size(a, b float64) float64 { return a * math.Pow(b/a, d.Float64()) }

func (d draw) chance(p float64) bool { return d.Float64() < p }

func (d draw) pick(words ...string) string { return words[d.IntN(len(words))] }

// step is a trial of something that comes at once.
func (d draw) step() trial {
	every := []time.Duration{10 * time.Second, time.Minute, 5 * time.Minute}[d.IntN(3)]
	tr := trial{
		layout: layout{links: 2 + d.IntN(3), cables: 1 + d.IntN(2), indoor: "rack-dual-supply", down: 1310, up: 1310},
		every:  every, watched: time.Duration(8+d.IntN(10)) * every, gap: time.Duration(d.IntN(60*24)) * time.Hour,
		season: time.Duration(d.IntN(300*24)) * time.Hour, noise: d.Float64(), missing: 0.06, seed: d.Uint64(),
	}
	if d.chance(0.4) {
		tr.layout.up = 1550
	}
	return tr
}

// slow is a trial of something that comes over days.
func (d draw) slow() trial {
	tr := d.step()
	tr.every = 7 * time.Hour
	return tr
}

// one of the links.
func (d draw) link(tr *trial) int { return 1 + d.IntN(tr.layout.links) }

// fault adds a fault.
func (tr *trial) fault(f plant.Fault) { tr.faults = append(tr.faults, f) }

func link(n int) string { return fmt.Sprintf("l%d", n) }

// laserOf returns the unit that sends in a direction of a link.
func (tr *trial) laserOf(n int, direction string) string {
	if direction == "uplink" {
		return fmt.Sprintf("i%d", n)
	}
	if tr.layout.shared {
		return "o1"
	}
	return fmt.Sprintf("o%d", n)
}

func other(direction string) string {
	if direction == "uplink" {
		return "downlink"
	}
	return "uplink"
}

func (tr *trial) work(resources ...string) {
	tr.works = append(tr.works, alarms.Work{ID: "visit", Resources: resources})
}

// rows draws a trial of each row of the table of signatures. Points that are
// the only sign of a row are kept: a case without its sign is not one of the
// row. So are the places where the sign can be read: the room units of these
// models have no noise floor.
var rows = []func(d draw) (trial, wanted){
	1: func(d draw) (trial, wanted) {
		tr := d.step()
		n, dir := d.link(&tr), d.pick("downlink", "uplink")
		tr.fault(plant.Fault{Kind: "connector-dirty", Link: link(n), Direction: dir, Size: d.size(0.7, 6)})
		if d.chance(0.4) {
			tr.work("link/" + link(n))
		}
		tr.layout.via = d.chance(0.5)
		return tr, wanted{1, "connector-dirty", "link/" + link(n), dir}
	},
	2: func(d draw) (trial, wanted) {
		tr := d.step()
		n := d.link(&tr)
		tr.layout.via = d.chance(0.5)
		switch d.IntN(10) {
		case 0: // one fibre of two: a joint looks the same at one wavelength
			dir := d.pick("downlink", "uplink")
			tr.fault(plant.Fault{Kind: "fibre-bend", Link: link(n), Direction: dir, Size: d.size(0.7, 3)})
			return tr, wanted{2, "fibre-bend", "link/" + link(n), dir}
		case 1, 2, 3:
			tr.layout.links, tr.layout.cables = 4, 2
			tr.fault(plant.Fault{Kind: "fibre-bend", Cable: "c2", Size: d.size(0.6, 3)})
			return tr, wanted{2, "fibre-bend", "cable/c2", ""}
		default:
			tr.layout.cables = 1
			tr.fault(plant.Fault{Kind: "fibre-bend", Link: link(n), Size: d.size(0.6, 3)})
			return tr, wanted{2, "fibre-bend", "link/" + link(n), ""}
		}
	},
	3: func(d draw) (trial, wanted) {
		tr := d.step()
		n, dir := d.link(&tr), d.pick("downlink", "uplink")
		if tr.layout.via = d.chance(0.3); tr.layout.via && d.chance(0.8) {
			dir = "uplink" // else the roof unit falls silent, as without power
		}
		tr.fault(plant.Fault{Kind: "fibre-open", Link: link(n), Direction: dir})
		return tr, wanted{3, "fibre-open", "link/" + link(n), dir}
	},
	4: func(d draw) (trial, wanted) {
		tr := d.step()
		tr.layout.links, tr.layout.cables = 4, 2
		tr.layout.via = d.chance(0.4)
		cable := d.pick("c1", "c2")
		tr.fault(plant.Fault{Kind: "cable-cut", Cable: cable})
		return tr, wanted{4, "cable-cut", "cable/" + cable, ""}
	},
	5: func(d draw) (trial, wanted) {
		tr := d.slow()
		n, dir := d.link(&tr), d.pick("downlink", "uplink")
		ramp := time.Duration(d.between(40, 200)) * 24 * time.Hour
		tr.watched = time.Duration(float64(ramp) * d.between(0.8, 1.1))
		tr.fault(plant.Fault{Kind: "joint-creep", Link: link(n), Direction: dir, Size: d.size(0.9, 4), Ramp: ramp})
		return tr, wanted{5, "joint-creep", "link/" + link(n), dir}
	},
	6: func(d draw) (trial, wanted) {
		tr := d.slow()
		n, dir := d.link(&tr), d.pick("downlink", "uplink")
		ramp := time.Duration(d.between(60, 200)) * 24 * time.Hour
		tr.watched = time.Duration(float64(ramp) * d.between(0.85, 1.1))
		tr.keep = []collector.Quantity{collector.LaserBias}
		u := tr.laserOf(n, dir)
		tr.fault(plant.Fault{Kind: "laser-ageing", Unit: u, Size: d.size(18, 100), Ramp: ramp})
		return tr, wanted{6, "laser-ageing", "unit/" + u, ""}
	},
	7: func(d draw) (trial, wanted) {
		tr := d.step()
		n, dir := d.link(&tr), d.pick("downlink", "uplink")
		tr.layout.via = d.chance(0.3) && dir == "uplink"
		u := tr.laserOf(n, dir)
		f := plant.Fault{Kind: "laser-failed", Unit: u}
		if d.chance(0.5) {
			f.Size = d.size(5, 12)
		}
		tr.fault(f)
		return tr, wanted{7, "laser-failed", "unit/" + u, ""}
	},
	8: func(d draw) (trial, wanted) {
		tr := d.step()
		n, dir := d.link(&tr), d.pick("downlink", "uplink")
		u := tr.laserOf(n, other(dir))
		f := plant.Fault{Kind: "receiver-failed", Unit: u}
		if d.chance(0.5) {
			f.Size = d.size(1.2, 10)
		}
		tr.fault(f)
		if d.chance(0.92) { // the row asks for a meter at the plug
			tr.meter = &alarms.MeterReading{Unit: u, DBm: -3 + 0.2*d.NormFloat64(), ExpectedDBm: -3}
		}
		return tr, wanted{8, "receiver-failed", "unit/" + u, ""}
	},
	9: func(d draw) (trial, wanted) {
		tr := d.step()
		switch d.IntN(3) {
		case 0:
			tr.layout.links, tr.layout.cables, tr.layout.via = 3, 2, d.chance(0.5)
			tr.fault(plant.Fault{Kind: "outdoor-power-lost", Site: "s"})
			return tr, wanted{9, "outdoor-power-lost", "site/s", ""}
		case 1:
			tr.layout.links, tr.layout.cables, tr.layout.shared, tr.layout.via = 3, 2, true, true
			tr.fault(plant.Fault{Kind: "outdoor-power-lost", Unit: "o1"})
			return tr, wanted{9, "outdoor-power-lost", "unit/o1", ""}
		default:
			u := fmt.Sprintf("o%d", d.link(&tr))
			tr.fault(plant.Fault{Kind: "outdoor-power-lost", Unit: u})
			return tr, wanted{9, "outdoor-power-lost", "unit/" + u, ""}
		}
	},
	10: func(d draw) (trial, wanted) {
		tr := d.step()
		tr.keep = []collector.Quantity{collector.SupplyState}
		u := fmt.Sprintf("i%d", d.link(&tr))
		tr.fault(plant.Fault{Kind: "supply-lost", Unit: u, Port: d.pick("a", "b")})
		return tr, wanted{10, "supply-lost", "unit/" + u, ""}
	},
	11: func(d draw) (trial, wanted) {
		tr := d.step()
		tr.layout.indoor = d.pick("rack-dual-supply", "compact-single-supply")
		tr.fault(plant.Fault{Kind: "mains-dip", Site: "s", For: time.Duration(d.between(5, 30)) * time.Second})
		tr.watched = min(max(tr.watched, time.Minute), 50*time.Minute)
		return tr, wanted{11, "mains-dip", "site/s", ""}
	},
	12: func(d draw) (trial, wanted) {
		tr := d.step()
		tr.every, tr.watched = 5*time.Minute, time.Duration(d.between(0.5, 5)*float64(time.Hour))
		tr.keep = []collector.Quantity{collector.LNACurrent, collector.RFInputLevel}
		u := fmt.Sprintf("o%d", d.link(&tr))
		tr.fault(plant.Fault{Kind: "water-in-coax", Unit: u, Size: d.size(3, 20)})
		return tr, wanted{12, "water-in-coax", "unit/" + u, ""}
	},
	13: func(d draw) (trial, wanted) {
		tr := d.step()
		tr.keep = []collector.Quantity{collector.LNACurrent, collector.RFInputLevel}
		u := fmt.Sprintf("o%d", d.link(&tr))
		tr.fault(plant.Fault{Kind: "antenna-obstructed", Unit: u, Size: d.size(2.5, 20)})
		return tr, wanted{13, "antenna-obstructed", "unit/" + u, ""}
	},
	14: func(d draw) (trial, wanted) {
		tr := d.step()
		u := fmt.Sprintf("o%d", d.link(&tr))
		tr.fault(plant.Fault{Kind: d.pick("antenna-feed-open", "antenna-feed-short"), Unit: u})
		return tr, wanted{14, "antenna-feed-fault", "unit/" + u, ""}
	},
	15: func(d draw) (trial, wanted) {
		tr := d.slow()
		n, dir := d.link(&tr), d.pick("downlink", "uplink")
		u := tr.laserOf(n, dir)
		size := d.size(0.9, 4)
		if d.chance(0.6) {
			size = -size
		}
		ramp := time.Duration(d.between(10, 60)) * 24 * time.Hour
		tr.watched = time.Duration(float64(ramp) * d.between(0.9, 1.1))
		point := d.pick("optical_receive_power", "optical_transmit_power")
		tr.keep = []collector.Quantity{collector.OpticalTransmitPower, collector.RFOutputLevel, collector.AGCAttenuation}
		tr.fault(plant.Fault{Kind: "monitor-drift", Unit: u, Point: point, Size: size, Ramp: ramp})
		return tr, wanted{15, "monitor-drift", "unit/" + u, ""}
	},
	16: func(d draw) (trial, wanted) {
		tr := d.step()
		tr.every, tr.watched = time.Hour, time.Duration(d.between(4, 7)*24)*time.Hour
		size := d.size(0.4, 2)
		if d.chance(0.5) {
			tr.layout.links, tr.layout.cables = 4, 2
			tr.fault(plant.Fault{Kind: "temperature-swing", Cable: "c1", Size: size})
			return tr, wanted{16, "temperature-swing", "cable/c1", ""}
		}
		u := tr.laserOf(d.link(&tr), d.pick("downlink", "uplink"))
		tr.fault(plant.Fault{Kind: "temperature-swing", Unit: u, Size: size})
		return tr, wanted{16, "temperature-swing", "unit/" + u, ""}
	},
	17: func(d draw) (trial, wanted) {
		tr := d.step()
		n := d.link(&tr)
		tr.layout.via = d.chance(0.5)
		tr.fault(plant.Fault{Kind: "pair-crossed", Link: link(n)})
		tr.work("link/" + link(n))
		return tr, wanted{17, "pair-crossed", "link/" + link(n), ""}
	},
	18: func(d draw) (trial, wanted) {
		tr := d.step()
		n, dir := d.link(&tr), d.pick("downlink", "uplink")
		tr.keep = []collector.Quantity{collector.RFOutputLevel, collector.AGCAttenuation}
		tr.fault(plant.Fault{Kind: "polish-mismatch", Link: link(n), Direction: dir, Size: d.between(3, 10)})
		tr.work("link/" + link(n))
		return tr, wanted{18, "polish-mismatch", "link/" + link(n), dir}
	},
	19: func(d draw) (trial, wanted) {
		tr := d.step()
		u := fmt.Sprintf("%s%d", d.pick("i", "o"), d.link(&tr))
		tr.fault(plant.Fault{Kind: "agent-restart", Unit: u})
		tr.watched = min(tr.watched, 50*time.Minute)
		return tr, wanted{19, "agent-restart", "unit/" + u, ""}
	},
	20: func(d draw) (trial, wanted) {
		tr := d.step()
		tr.layout.via = d.chance(0.3)
		u := fmt.Sprintf("o%d", d.link(&tr))
		tr.every, tr.watched = 2*time.Minute, 2*time.Hour+30*time.Minute+time.Duration(d.between(2, 7))*time.Minute
		tr.fault(plant.Fault{Kind: "warm-up", Unit: u, Size: d.between(-50, -40)})
		return tr, wanted{20, "warm-up", "unit/" + u, ""}
	},
	21: func(d draw) (trial, wanted) {
		tr := d.step()
		u := tr.laserOf(d.link(&tr), d.pick("downlink", "uplink"))
		tr.keep = []collector.Quantity{collector.RFOutputLevel, collector.AGCAttenuation, collector.RFInputLevel, collector.LaserBias}
		tr.fault(plant.Fault{Kind: "slope-loss", Unit: u, Size: d.size(18, 45)})
		return tr, wanted{21, "slope-loss", "unit/" + u, ""}
	},
	22: func(d draw) (trial, wanted) {
		tr := d.step()
		n := d.link(&tr)
		tr.keep = []collector.Quantity{collector.RFNoiseFloor, collector.AGCAttenuation}
		tr.fault(plant.Fault{Kind: "reflection", Link: link(n), Direction: "uplink", Size: d.between(6, 20)})
		return tr, wanted{22, "reflection", "link/" + link(n), "uplink"}
	},
	23: func(d draw) (trial, wanted) {
		tr := d.step()
		u := fmt.Sprintf("%s%d", d.pick("i", "o"), d.link(&tr))
		tr.keep = []collector.Quantity{collector.RFInputLevel}
		tr.fault(plant.Fault{Kind: "interference", Unit: u, Size: d.between(5, 30)})
		return tr, wanted{23, "interference", "unit/" + u, ""}
	},
	24: func(d draw) (trial, wanted) {
		tr := d.step()
		u := fmt.Sprintf("%s%d", d.pick("i", "o"), d.link(&tr))
		tr.keep = []collector.Quantity{collector.RFInputLevel}
		tr.fault(plant.Fault{Kind: "feedback", Unit: u, Size: d.between(3, 12)})
		return tr, wanted{24, "feedback", "unit/" + u, ""}
	},
	25: func(d draw) (trial, wanted) {
		tr := d.step()
		u := fmt.Sprintf("%s%d", d.pick("i", "o"), d.link(&tr))
		tr.fault(plant.Fault{Kind: "unit-exchanged", Unit: u})
		tr.works = append(tr.works, alarms.Work{ID: "visit", Resources: []string{"unit/" + u}, Exchanged: []string{u}})
		return tr, wanted{25, "unit-exchanged", "unit/" + u, ""}
	},
	26: func(d draw) (trial, wanted) {
		tr := d.step()
		if d.chance(0.5) {
			tr.layout.via = d.chance(0.5)
			tr.fault(plant.Fault{Kind: "management-lost", Site: "s"})
			return tr, wanted{26, "management-lost", "site/s", ""}
		}
		u := fmt.Sprintf("i%d", d.link(&tr))
		tr.fault(plant.Fault{Kind: "management-lost", Unit: u})
		return tr, wanted{26, "management-lost", "unit/" + u, ""}
	},
}

// sound draws a trial in which nothing is wrong; with weather the temperature
// is far from that of the baseline.
func (d draw) sound(weather bool) trial {
	tr := d.step()
	tr.layout.via = d.chance(0.5)
	if weather {
		tr.gap = time.Duration(90+d.IntN(120)) * 24 * time.Hour
		tr.every, tr.watched = time.Hour, time.Duration(24+d.IntN(96))*time.Hour
	}
	return tr
}
