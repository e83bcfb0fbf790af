package rules_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/baseline"
	"lightwell/alarms/drift"
	"lightwell/alarms/rules"
	"lightwell/collector"
)

var (
	now       = time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)
	onBaseDay = time.Date(2026, 11, 1, 9, 0, 0, 0, time.UTC)
)

// A scene is a site made by hand. Units are polled at now unless told.
type scene struct {
	t      testing.TB
	fleet  collector.Fleet
	units  map[string]*alarms.UnitView
	raised map[alarms.Key]alarms.Severity

	findings []alarms.Finding
}

func newScene(t testing.TB) *scene {
	return &scene{t: t, fleet: collector.Fleet{Sites: []collector.Site{{ID: "quay", Name: "North Quay", Location: time.UTC}}}, units: map[string]*alarms.UnitView{}, raised: map[alarms.Key]alarms.Severity{}}
}

func ptr[T any](v T) *T { return &v }

func points(names ...string) []collector.Point {
	var out []collector.Point
	for _, n := range names {
		p, err := collector.ParsePoint(n)
		if err != nil {
			panic(err)
		}
		out = append(out, p)
	}
	return out
}

func point(name string) collector.Point { return points(name)[0] }

// The kinds of equipment in a scene.
var (
	roofKind = collector.Equipment{Model: "roof", Supplies: 1,
		Points: points("uptime", "optical_receive_power", "optical_receive_state", "optical_transmit_power", "laser_bias", "laser_state", "supply_state", "supply_voltage",
			"temperature", "heater_state", "lna_current", "antenna_feed_state", "rf_input_level", "rf_output_level", "agc_attenuation"),
		Limits: collector.Limits{ReceivePowerMinDBm: ptr(-12.0), ReceivePowerMaxDBm: ptr(3.0), TemperatureMinC: ptr(-40.0), TemperatureMaxC: ptr(75.0), SupplyMinV: ptr(22.0), SupplyMaxV: ptr(28.0),
			LNAOpenBelowMA: ptr(5.0), LNAShortAboveMA: ptr(300.0), WarmUpBelowC: ptr(-30.0), WarmUpMax: 20 * time.Minute, BiasMaxMA: ptr(60.0)}}
	rackKind = collector.Equipment{Model: "rack", Supplies: 2,
		Points: points("uptime", "optical_receive_power", "optical_receive_state", "optical_transmit_power", "laser_bias", "laser_state", "supply_state/a", "supply_state/b",
			"supply_voltage/a", "supply_voltage/b", "temperature", "rf_input_level", "rf_output_level", "agc_attenuation"),
		Limits: collector.Limits{ReceivePowerMinDBm: ptr(-12.0), ReceivePowerMaxDBm: ptr(3.0), TemperatureMinC: ptr(-5.0), TemperatureMaxC: ptr(60.0), SupplyMinV: ptr(11.4), SupplyMaxV: ptr(12.6), BiasMaxMA: ptr(60.0)}}
)

// healthy is what each quantity of a sound unit reads; also its baseline.
var healthy = map[collector.Quantity]float64{
	collector.OpticalReceivePower: -3.2, collector.OpticalTransmitPower: 1.5, collector.LaserBias: 23, collector.Temperature: 31,
	collector.SupplyVoltage: 12, collector.RFInputLevel: -60, collector.RFOutputLevel: -52, collector.LNACurrent: 80, collector.AGCAttenuation: 24, collector.Uptime: 1e6,
}

// unit adds a healthy unit with an accepted baseline.
func (s *scene) unit(id string, role collector.Role, kind collector.Equipment, via string) *alarms.UnitView {
	u := &alarms.UnitView{
		Unit:   collector.Unit{ID: id, Site: "quay", Role: role, Equipment: kind, Via: via, Credentials: "fleet-v3"},
		Polled: now, LastSuccess: now, StartedAt: now.Add(-240 * time.Hour), Baselined: true, Points: map[collector.Point]alarms.PointView{},
	}
	s.fleet.Units = append(s.fleet.Units, u.Unit)
	s.units[id] = u
	for _, p := range kind.Points {
		v := healthy[p.Quantity]
		if p.Quantity == collector.SupplyVoltage && role == collector.Outdoor {
			v = 24
		}
		u.Points[p] = alarms.PointView{}
		if p.Quantity == collector.OpticalReceivePower || p.Quantity == collector.OpticalTransmitPower {
			u.Points[p] = alarms.PointView{Trend: &drift.Trend{Phase: drift.Final, Days: 24, Baseline: v, FirstBaseline: v, LostSE: 0.01, SlopeSE: 0.01}}
		}
		if info, _ := p.Quantity.Info(); info.Compared {
			s.base(id, p.String(), v, 0.02)
		}
		s.read(id, p.String(), v)
	}
	return u
}

// link adds a link whose fibres are two strands of a cable.
func (s *scene) link(id, outdoor, indoor, cable string, strand int) {
	s.fleet.Links = append(s.fleet.Links, collector.Link{ID: id, Outdoor: outdoor, Indoor: indoor, Use: collector.Repeater,
		Downlink: collector.Path{Cable: cable, Strand: strand, WavelengthNM: 1310}, Uplink: collector.Path{Cable: cable, Strand: strand + 1, WavelengthNM: 1310}})
}

// pairs returns a site with n links, each with a roof unit read via its room
// unit, all through cable riser.
func pairs(t testing.TB, n int) *scene {
	s := newScene(t)
	for i := 1; i <= n; i++ {
		roof, room := fmt.Sprintf("roof-%d", i), fmt.Sprintf("room-%d", i)
		s.unit(roof, collector.Outdoor, roofKind, room)
		s.unit(room, collector.Indoor, rackKind, "")
		s.link(fmt.Sprintf("l%d", i), roof, room, "riser", 2*i-1)
	}
	return s
}

// star returns a site with n room units on one roof unit, which is read via
// the first, all through cable riser.
func star(t testing.TB, n int) *scene {
	s := newScene(t)
	s.unit("roof", collector.Outdoor, roofKind, "room-1")
	for i := 1; i <= n; i++ {
		room := fmt.Sprintf("room-%d", i)
		s.unit(room, collector.Indoor, rackKind, "")
		s.link(fmt.Sprintf("l%d", i), "roof", room, "riser", 2*i-1)
	}
	return s
}

func (s *scene) change(unit, name string, f func(*alarms.PointView)) {
	u := s.units[unit]
	require.NotNil(s.t, u, unit)
	p := point(name)
	pv, ok := u.Points[p]
	require.True(s.t, ok, "%s has no %s", unit, name)
	f(&pv)
	r := pv.Reading
	pv.Deviation, pv.Compared = 0, false
	if pv.Baseline != nil && r.Quality == collector.Good {
		pv.Deviation, pv.Compared = pv.Baseline.Deviation(r.Value, 0, false), true
	}
	u.Points[p] = pv
}

// read gives a point a good reading, taken when the unit was polled.
func (s *scene) read(unit, name string, value float64) {
	s.change(unit, name, func(pv *alarms.PointView) {
		pv.Reading = collector.Reading{Unit: unit, Point: point(name), Value: value, Taken: s.units[unit].Polled}
	})
}

// trend changes the trend of a point.
func (s *scene) trend(unit, name string, f func(*drift.Trend)) {
	s.change(unit, name, func(pv *alarms.PointView) {
		t := *pv.Trend
		f(&t)
		pv.Trend = &t
	})
}

// say gives a point a state.
func (s *scene) say(unit, name, state string) {
	v, ok := point(name).Quantity.StateValue(state)
	require.True(s.t, ok, state)
	s.read(unit, name, v)
}

func (s *scene) quality(unit, name string, q collector.Quality) {
	s.change(unit, name, func(pv *alarms.PointView) { pv.Reading.Quality = q })
}

// blank makes all readings of a unit unavailable.
func (s *scene) blank(unit string) {
	for _, p := range s.units[unit].Unit.Equipment.Points {
		s.quality(unit, p.String(), collector.Unavailable)
	}
}

func (s *scene) base(unit, name string, value, spread float64) {
	s.change(unit, name, func(pv *alarms.PointView) {
		pv.Baseline = &baseline.Level{Value: value, Spread: spread, Samples: 20, CapturedAt: onBaseDay}
	})
}

// shift moves a point off its baseline.
func (s *scene) shift(unit, name string, by float64) {
	s.read(unit, name, s.units[unit].Points[point(name)].Baseline.Value+by)
}

// dim makes a receiver dark.
func (s *scene) dim(units ...string) {
	for _, u := range units {
		s.read(u, "optical_receive_power", -45)
		s.say(u, "optical_receive_state", collector.StateLost)
		s.read(u, "rf_output_level", -110)
	}
}

// fail has the last poll of units end with err.
func (s *scene) fail(err error, units ...string) {
	for _, id := range units {
		u := s.units[id]
		u.Err, u.Failures, u.FirstFailure = err, 1, u.Polled
	}
}

// polled moves the last poll of a unit, and its readings, by d.
func (s *scene) polled(unit string, d time.Duration) {
	u := s.units[unit]
	u.Polled = now.Add(d)
	for p, pv := range u.Points {
		pv.Reading.Taken = u.Polled
		u.Points[p] = pv
	}
}

// raise marks an alarm as raised, with the severity its rule gave.
func (s *scene) raise(kind, resource string, severity alarms.Severity) {
	s.raised[alarms.Key{Resource: resource, Type: kind}] = severity
}

func (s *scene) view() *alarms.View {
	fleet := collector.NewFleet(s.fleet)
	v := &alarms.View{Now: now, Site: s.fleet.Sites[0], Fleet: fleet, Findings: s.findings}
	v.Active = func(k alarms.Key) bool { _, ok := s.raised[k]; return ok }
	v.Severity = func(k alarms.Key) alarms.Severity { return s.raised[k] }
	for _, u := range s.fleet.Units {
		v.Units = append(v.Units, s.units[u.ID])
	}
	return v
}

func ruleOf(t testing.TB, kind string) alarms.Rule {
	for _, r := range rules.All() {
		if r.Type().ID == kind {
			return r
		}
	}
	require.Fail(t, "no rule", kind)
	return nil
}

// verdict returns what a rule thinks of a resource: nil is unknown.
func (s *scene) verdict(kind, resource string) *alarms.Verdict {
	for _, v := range ruleOf(s.t, kind).Judge(s.view()) {
		if v.Resource == resource {
			return &v
		}
	}
	return nil
}

// active returns the verdict of an alarm that must be active.
func (s *scene) active(kind, resource string) *alarms.Verdict {
	s.t.Helper()
	v := s.verdict(kind, resource)
	require.NotNil(s.t, v, "%s of %s is unknown", kind, resource)
	require.True(s.t, v.Active, "%s of %s is not active", kind, resource)
	return v
}

func (s *scene) inactive(kind, resource string) {
	s.t.Helper()
	v := s.verdict(kind, resource)
	require.NotNil(s.t, v, "%s of %s is unknown", kind, resource)
	require.False(s.t, v.Active, "%s of %s is active: %s", kind, resource, v.Text)
}

func (s *scene) unknown(kind, resource string) {
	s.t.Helper()
	require.Nil(s.t, s.verdict(kind, resource), "%s of %s", kind, resource)
}

// expect checks a verdict given in words.
func (s *scene) expect(want, kind, resource string) {
	s.t.Helper()
	switch want {
	case "unknown":
		s.unknown(kind, resource)
	case "clear":
		s.inactive(kind, resource)
	default:
		v := s.active(kind, resource)
		severity := v.Severity
		if severity == 0 {
			severity = ruleOf(s.t, kind).Type().Severity
		}
		require.Equal(s.t, want, severity.String())
	}
}

// standing returns the keys of all active verdicts that no other active
// verdict explains.
func (s *scene) standing() []string {
	var all []alarms.Key
	explained := map[alarms.Key]bool{}
	v := s.view()
	for _, r := range rules.All() {
		for _, verdict := range r.Judge(v) {
			if verdict.Active {
				all = append(all, alarms.Key{Resource: verdict.Resource, Type: r.Type().ID})
				for _, k := range verdict.Explains {
					explained[k] = true
				}
			}
		}
	}
	var out []string
	for _, k := range all {
		if !explained[k] {
			out = append(out, k.Type+" "+k.Resource)
		}
	}
	return out
}
