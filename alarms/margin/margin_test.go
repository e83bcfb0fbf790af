package margin_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/baseline"
	"lightwell/alarms/drift"
	"lightwell/alarms/margin"
	"lightwell/collector"
	"lightwell/collector/plan"
)

func ptr[T any](v T) *T { return &v }

var (
	now = time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)
	tx  = collector.Point{Quantity: collector.OpticalTransmitPower}
	rx  = collector.Point{Quantity: collector.OpticalReceivePower}
	agc = collector.Point{Quantity: collector.AGCAttenuation}
)

// A site has one link of 500 m, four connector pairs and two splices each way:
// planned 1.275 dB, at most 2.007 dB. Its units transmit 0 dBm and their noise
// is that of "manual A" at 1.5 GHz.
type site struct {
	t     testing.TB
	fleet *collector.Fleet
	link  collector.Link
	view  *alarms.View
}

func kind() collector.Equipment {
	return collector.Equipment{
		Points: []collector.Point{tx, rx},
		Limits: collector.Limits{ReceivePowerMinDBm: ptr(-15.0)},
		Optics: collector.Optics{
			TransmitPowerDBm: ptr(0.0), TransmitSpreadDB: 0.5, MonitorErrorDB: 1,
			Noise: []collector.NoisePoint{{LossDB: 0, NoiseFigureDB: 23.58}, {LossDB: 8, NoiseFigureDB: 33.28}, {LossDB: 17, NoiseFigureDB: 50.18}},
		},
	}
}

func newSite(t testing.TB, change func(*collector.Equipment, *collector.Link)) *site {
	e := kind()
	path := collector.Path{Cable: "riser", Connectors: 4, Splices: 2, WavelengthNM: 1310}
	l := collector.Link{ID: "nq", Outdoor: "roof", Indoor: "room", Downlink: path, Uplink: path,
		RF: &collector.RF{GainBeforeLaserDB: 30, NoiseFigureBeforeLaserDB: 1.5, AntennaNoiseK: 130, CarrierDBW: -155, CN0MinDBHz: 40}}
	if change != nil {
		change(&e, &l)
	}
	s := &site{t: t, link: l, fleet: collector.NewFleet(collector.Fleet{
		Cables: []collector.Cable{{ID: "riser", LengthM: 500}},
		Units:  []collector.Unit{{ID: "roof", Equipment: e}, {ID: "room", Equipment: e}},
		Links:  []collector.Link{l},
	})}
	s.view = &alarms.View{Now: now, Fleet: s.fleet}
	for _, u := range s.fleet.Units {
		s.view.Units = append(s.view.Units, &alarms.UnitView{Unit: u, Polled: now, LastSuccess: now, Baselined: true, Points: map[collector.Point]alarms.PointView{}})
		s.set(u.ID, tx, 0, 0)
		s.set(u.ID, rx, -1.3, -1.3)
	}
	return s
}

// set gives a point a baseline and a good reading.
func (s *site) set(unit string, p collector.Point, was, is float64) {
	s.view.Unit(unit).Points[p] = alarms.PointView{
		Reading:  collector.Reading{Unit: unit, Point: p, Value: is, Taken: now},
		Baseline: &baseline.Level{Value: was}, Deviation: is - was, Compared: true,
	}
}

func (s *site) margin() margin.Margin {
	m, ok := margin.Of(s.view, s.link)
	require.True(s.t, ok)
	return m
}

func TestNothingLost(t *testing.T) {
	m := newSite(t, nil).margin()
	require.Equal(t, "downlink", m.Direction)
	require.Equal(t, plan.ByNoise, m.By)
	require.InDelta(t, 10.94-1.275, m.LeftDB, 0.1, "calc: closed solution, less the plan's loss")
	require.Zero(t, m.Lost)
	require.True(t, m.Service)
	require.InDelta(t, 0, m.CN0Lost.Middle, 1e-9)
	require.InDelta(t, 48.4, m.CN0.Middle, 0.1, "between 48.5 at 1 dB and 48.3 at 2 dB")
	require.Equal(t, "nothing lost since commissioning; about 10 dB left before C/N0 falls to 40 dB-Hz", m.Sentence())
	require.Equal(t, now, m.Seen)
}

func TestLossCosts(t *testing.T) {
	s := newSite(t, nil)
	s.set("room", rx, -1.3, -4.3)
	m := s.margin()
	require.InDelta(t, 3, m.Lost, 1e-9)
	require.InDelta(t, 10.94-4.275, m.LeftDB, 0.1)
	require.InDelta(t, 2.17-1.20, m.CN0Lost.Middle, 0.05, "between 2.04 at 4 dB and 2.59 at 5 dB, less 1.15 to 1.36")
	require.Equal(t, "3.0 dB lost since commissioning; about 7 dB left before C/N0 falls to 40 dB-Hz", m.Sentence())
}

func TestTheWorseDirectionCounts(t *testing.T) {
	s := newSite(t, nil)
	s.set("roof", rx, -1.3, -9)
	m := s.margin()
	require.Equal(t, "uplink", m.Direction)
	require.Equal(t, plan.ByReceiver, m.By)
	require.InDelta(t, 6, m.LeftDB, 1e-9, "-9 dBm against the -15 the receiver needs")
	require.True(t, m.Service, "C/N0 of the downlink is told all the same")
	require.Equal(t, "7.7 dB lost since commissioning; about 6 dB left before the receiver gets too little light", m.Sentence())
}

func TestGainControlEnds(t *testing.T) {
	s := newSite(t, nil)
	s.set("room", rx, -1.3, -3.3)
	s.set("room", agc, 8, 4)
	m := s.margin()
	require.Equal(t, plan.ByControl, m.By)
	require.InDelta(t, 2, m.LeftDB, 1e-9, "8 dB of reserve at commissioning were 4 dB of light")
	require.Equal(t, "2.0 dB lost since commissioning; about 2.0 dB left before gain control has no reserve and the level falls", m.Sentence())
	s.set("room", agc, 8, 0) // a weak antenna takes the rest: no matter of light
	require.InDelta(t, 2, s.margin().LeftDB, 1e-9)
	s.set("room", rx, -1.3, -5.7)
	require.Equal(t, "4.4 dB lost since commissioning; 0.4 dB beyond the point where gain control has no reserve and the level falls", s.margin().Sentence())
}

func TestGainControlOfTheModel(t *testing.T) {
	s := newSite(t, func(e *collector.Equipment, _ *collector.Link) { e.Optics.AGCReserveDB = ptr(6.0) })
	require.InDelta(t, 3, s.margin().LeftDB, 1e-9, "until its attenuation is part of a baseline")
}

func TestOneNoiseFigureGivesAtLeast(t *testing.T) {
	s := newSite(t, func(e *collector.Equipment, _ *collector.Link) {
		e.Optics.Noise = []collector.NoisePoint{{LossDB: 3, NoiseFigureDB: 26}}
		e.Limits = collector.Limits{}
	})
	m := s.margin()
	require.Less(t, m.LeftLow, m.LeftDB)
	require.True(t, math.IsInf(m.LeftHigh, 1), "if the laser's noise rules, C/N0 never falls so far")
	require.Regexp(t, "^nothing lost since commissioning; at least [0-9]+ dB left before", m.Sentence())
	s = newSite(t, func(e *collector.Equipment, _ *collector.Link) {
		e.Optics.Noise = []collector.NoisePoint{{LossDB: 3, NoiseFigureDB: 26}}
	})
	require.Regexp(t, "between [0-9]+ dB and 14 dB left before", s.margin().Sentence())
}

// TestTheMonitorsAreBelievedOnlyBeyondTheirError: they may be off by 1 dB each.
func TestTheMonitorsAreBelievedOnlyBeyondTheirError(t *testing.T) {
	for _, c := range []struct{ received, loss float64 }{
		{-1.3, 1.275}, {-3.2, 1.275}, {0.7, 1.275}, // within 2 dB of the plan: the plan
		{-6, 4}, {1.5, 0.5}, {4, 0}, // beyond: as little as the monitors insist on
	} {
		s := newSite(t, func(e *collector.Equipment, _ *collector.Link) { e.Limits = collector.Limits{} })
		s.set("room", rx, c.received, c.received)
		require.InDelta(t, 10.94-c.loss, s.margin().LeftDB, 0.1, "received %g dBm at commissioning", c.received)
	}
}

func TestWhatIsNotKnownIsNotGiven(t *testing.T) {
	for name, spoil := range map[string]func(*site){
		"dark": func(s *site) { s.set("room", rx, -1.3, -45) },
		"nothing good": func(s *site) {
			for _, u := range s.view.Units {
				pv := u.Points[rx]
				pv.Reading.Quality = collector.Unavailable
				u.Points[rx] = pv
			}
		},
		"no baseline": func(s *site) {
			for _, u := range s.view.Units {
				pv := u.Points[rx]
				pv.Baseline, pv.Compared = nil, false
				u.Points[rx] = pv
			}
		},
		"silent units": func(s *site) {
			for _, u := range s.view.Units {
				u.Polled = time.Time{}
			}
		},
		"no units": func(s *site) { s.view.Units = nil },
	} {
		s := newSite(t, nil)
		spoil(s)
		_, ok := margin.Of(s.view, s.link)
		require.False(t, ok, name)
	}
	s := newSite(t, func(e *collector.Equipment, l *collector.Link) {
		*e = collector.Equipment{Points: e.Points}
		l.RF = nil
	})
	_, ok := margin.Of(s.view, s.link)
	require.False(t, ok, "nothing would end the service")
}

// TestANewBaselineGivesNoMarginBack: 2 dB were lost before it was accepted.
func TestANewBaselineGivesNoMarginBack(t *testing.T) {
	s := newSite(t, nil)
	s.set("room", rx, -3.3, -3.8)
	pv := s.view.Unit("room").Points[rx]
	pv.Trend = &drift.Trend{SinceFirstDB: 2.4, LostDB: 0.4}
	s.view.Unit("room").Points[rx] = pv
	m := s.margin()
	require.InDelta(t, 2.5, m.Lost, 1e-9)
	require.InDelta(t, 10.94-1.275-2.5, m.LeftDB, 0.1)
	s.set("room", agc, 6, 6)
	require.InDelta(t, 3-0.5, s.margin().LeftDB, 1e-9, "gain control's reserve is that of the new baseline")
}

func TestSharedReceiverTellsNothing(t *testing.T) {
	s := newSite(t, nil)
	twin := s.link
	twin.ID = "nq-2"
	f := collector.NewFleet(collector.Fleet{Cables: s.fleet.Cables, Units: s.fleet.Units, Links: []collector.Link{s.link, twin}})
	_, ok := margin.Link(f, s.view.Unit, s.link)
	require.False(t, ok, "both ends are shared")
}

func BenchmarkOf(b *testing.B) {
	s := newSite(b, nil)
	s.set("room", rx, -1.3, -4.3)
	b.ReportAllocs()
	for b.Loop() {
		if _, ok := margin.Of(s.view, s.link); !ok {
			b.Fatal("no margin")
		}
	}
}

// TestPlanIsKept: who keeps the plan gets the same margin.
func TestPlanIsKept(t *testing.T) {
	s := newSite(t, nil)
	s.set("room", rx, -1.3, -4.3)
	s.set("room", agc, 12, 6)
	p := plan.Of(s.fleet, s.link)
	m, ok := margin.Planned(&p, s.view.Unit)
	require.True(t, ok)
	require.Equal(t, s.margin(), m)
}
