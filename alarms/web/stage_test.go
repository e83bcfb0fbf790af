package web_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"
	"go.uber.org/zap"

	"lightwell/alarms"
	"lightwell/alarms/baseline"
	"lightwell/alarms/web"
	"lightwell/alarms/web/access"
	"lightwell/collector"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// The real parts fit what the page asks for.
var (
	_ web.AlarmList = (*alarms.List)(nil)
	_ web.Engine    = (*alarms.Engine)(nil)
	_ web.Baselines = (*baseline.Book)(nil)
	_ web.Poller    = (*collector.Poller)(nil)
	_ web.Calendar  = (*collector.Calendar)(nil)
)

const (
	seeSecret        = "see-secret-0123456789abcdef"
	operateSecret    = "operate-secret-0123456789abcdef"
	commissionSecret = "commission-secret-0123456789abcdef"
)

var tokens = []access.Token{
	{Name: "visitor", Secret: collector.NewSecret(seeSecret), Role: access.See},
	{Name: "noc-1", Secret: collector.NewSecret(operateSecret), Role: access.Operate},
	{Name: "engineer", Secret: collector.NewSecret(commissionSecret), Role: access.Commission},
}

// engine is an Engine whose units a test sets by hand.
type engine struct {
	mu      sync.Mutex
	units   []alarms.UnitView
	found   []alarms.Finding
	version uint64
	asked   int // how often for all units
	signals map[chan struct{}]bool
}

func (e *engine) Units() []alarms.UnitView {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.asked++
	return append([]alarms.UnitView(nil), e.units...)
}

// Findings tells of north-quay what the test has found there.
func (e *engine) Findings(site string) []alarms.Finding {
	if site != "north-quay" {
		return nil
	}
	return e.found
}

// dirtyConnector is a finding at the link a1.
func dirtyConnector() *alarms.Finding {
	size := 2.04
	return &alarms.Finding{
		Cause: "connector-dirty", Title: "Dirty or loose connector", Wording: alarms.Likely, Resource: "link/a1", Place: "downlink of link a1", Links: []string{"link/a1"},
		Direction: "downlink", Size: &size, Unit: "dB", Probability: 0.86, Since: day, Evidence: []string{"RF moved <4.0> dB for 2.0 dB of light"},
		Disproof: "cleaning changes nothing", Deciding: "the loss at both wavelengths", Actions: []string{"Inspect and clean"}, Bring: []string{"scope", "cleaner"},
		Cautions: []string{"never look into a fibre"}, Others: []alarms.Alternative{{Cause: "fibre-bend", Title: "Bend", Place: "downlink of link a1", Probability: 0.1}},
	}
}

func (e *engine) Events(int) []alarms.Event {
	return []alarms.Event{{Time: day, Site: "north-quay", Resource: "unit/a1-room", Kind: alarms.EventRestart, Text: "unit a1-room started anew"}}
}

func (e *engine) Load(now time.Time) alarms.LoadFigures {
	return alarms.LoadFigures{At: now, Announced: 3, Mix: map[alarms.Severity]float64{alarms.Minor: 1}}
}

func (e *engine) Version() uint64 {
	e.mu.Lock()
	defer e.mu.Unlock()
	return e.version
}

func (e *engine) Subscribe() (<-chan struct{}, func()) {
	e.mu.Lock()
	defer e.mu.Unlock()
	ch := make(chan struct{}, 1)
	e.signals[ch] = true
	return ch, func() {
		e.mu.Lock()
		defer e.mu.Unlock()
		delete(e.signals, ch)
	}
}

func (e *engine) change() {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.version++
	for ch := range e.signals {
		select {
		case ch <- struct{}{}:
		default:
		}
	}
}

type poller struct{ asked chan string }

func (p poller) PollNow(unit string) bool {
	select {
	case p.asked <- unit:
		return true
	default:
		return false
	}
}

// day is long past, so that a golden page does not depend on the clock.
var day = time.Date(2026, 11, 25, 9, 52, 3, 0, time.UTC)

// stage is a server on a made-up fleet.
type stage struct {
	t      testing.TB
	fleet  *collector.Fleet
	list   *alarms.List
	engine *engine
	book   *baseline.Book
	poller poller
	cfg    web.Config
	server *web.Server
}

var siteNames = []string{"North Quay operations room", "Harbour tunnel", "Signal hill", "Lower deck"}

func indoorPoints() []collector.Point {
	var out []collector.Point
	for _, p := range []string{"optical_receive_power", "optical_transmit_power", "laser_bias", "supply_state/a", "supply_state/b", "temperature", "rf_input_level", "rf_output_level", "uptime"} {
		point, err := collector.ParsePoint(p)
		if err != nil {
			panic(err)
		}
		out = append(out, point)
	}
	return out
}

// makeFleet makes so many sites with so many links each.
func makeFleet(sites, links int) *collector.Fleet {
	var f collector.Fleet
	zone, err := time.LoadLocation("Europe/Lisbon")
	if err != nil {
		panic(err)
	}
	equipment := collector.Equipment{Model: "rack-dual-supply", Supplies: 2, Points: indoorPoints()}
	for s := range sites {
		id, name := fmt.Sprintf("site-%d", s+1), fmt.Sprintf("Site %d", s+1)
		if s == 0 {
			id = "north-quay"
		}
		if s < len(siteNames) {
			name = siteNames[s]
		}
		f.Sites = append(f.Sites, collector.Site{ID: id, Name: name, Access: "Keys at the gatehouse; roof permit a day ahead", Location: zone})
		f.Cables = append(f.Cables, collector.Cable{ID: id + "-riser", Site: id, LengthM: 140})
		for l := range links {
			n := fmt.Sprintf("%c%d", 'a'+s%26, l+1)
			if s >= 26 {
				n = fmt.Sprintf("%s%d", n, s)
			}
			f.Units = append(f.Units,
				collector.Unit{ID: n + "-roof", Site: id, Role: collector.Outdoor, Equipment: equipment, Via: n + "-room", Address: "192.0.2.11:161", Poll: "@every 30s", Credentials: "fleet-v3"},
				collector.Unit{ID: n + "-room", Site: id, Role: collector.Indoor, Equipment: equipment, Address: "192.0.2.11:161", Poll: "@every 30s", Credentials: "fleet-v3"})
			path := func(strand int) collector.Path {
				return collector.Path{Cable: id + "-riser", Strand: strand, WavelengthNM: 1310, Connectors: 4, Splices: 2}
			}
			f.Links = append(f.Links, collector.Link{ID: n, Outdoor: n + "-roof", Indoor: n + "-room", Use: collector.Repeater,
				Services: []string{"l-band-mss", "gps-l1"}, Downlink: path(2*l + 1), Uplink: path(2*l + 2)})
		}
	}
	f.PlannedWork = []collector.PlannedWork{{ID: "roof-repair", Resources: []string{"site/north-quay"}, Start: "0 8 * * 1", Duration: 4 * time.Hour, Reason: "roof repair", Location: zone}}
	return collector.NewFleet(f)
}

// healthy is a unit that answers and reads as at commissioning, give or take
// what is lost of its received light.
func healthy(u collector.Unit, lostDB float64, at time.Time) alarms.UnitView {
	v := alarms.UnitView{Unit: u, Polled: at, LastSuccess: at, StartedAt: at.Add(-51 * time.Hour), Baselined: true, Points: map[collector.Point]alarms.PointView{}}
	level := map[collector.Quantity]float64{collector.OpticalReceivePower: 1.21, collector.OpticalTransmitPower: 3.04, collector.LaserBias: 31.4,
		collector.Temperature: 24.6, collector.RFInputLevel: -47.3, collector.RFOutputLevel: -30.2, collector.Uptime: 183600}
	for _, p := range u.Equipment.Points {
		info, _ := p.Quantity.Info()
		pv := alarms.PointView{Reading: collector.Reading{Unit: u.ID, Point: p, Value: level[p.Quantity], Taken: at}}
		if info.Compared {
			pv.Baseline, pv.Compared = &baseline.Level{Value: level[p.Quantity], Spread: 0.02, CapturedAt: at}, true
		}
		if p.Quantity == collector.OpticalReceivePower {
			pv.Reading.Value -= lostDB
			pv.Deviation = -lostDB
		}
		v.Points[p] = pv
	}
	return v
}

func newStage(t testing.TB, fleet *collector.Fleet, at time.Time, change ...func(*web.Config)) *stage {
	s := &stage{t: t, fleet: fleet, engine: &engine{signals: map[chan struct{}]bool{}, version: 7}, poller: poller{make(chan string, 2)}}
	s.list = alarms.NewList(alarms.ListConfig{})
	var err error
	s.book, err = baseline.NewBook(&baseline.Memory{}, baseline.Default())
	require.NoError(t, err)
	s.book.SetFleet(s.fleet)
	for i, u := range s.fleet.Units {
		s.engine.units = append(s.engine.units, healthy(u, 0.03*math.Abs(math.Sin(float64(i))), at))
	}
	s.cfg = web.Config{
		Alarms: s.list, Engine: s.engine, Baselines: s.book, Poller: s.poller, Fleet: func() *collector.Fleet { return s.fleet },
		Types: []alarms.Type{
			{ID: "optical-signal-degraded", Title: "Optical signal degraded", Why: "The margin shrinks.", ClearsBy: "The level is back.", Severity: alarms.Minor},
			{ID: "supply-redundancy-lost", Title: "Supply redundancy lost", Why: "One supply is left.", ClearsBy: "Both supplies are good.", Severity: alarms.Minor},
			{ID: "cable-cut", Title: "Cable cut", Severity: alarms.Critical},
		},
		Metrics: http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { _, _ = io.WriteString(w, "lightwell_unit_up 1\n") }),
		Tokens:  tokens, Version: "test", Log: zap.NewNop(),
	}
	for _, c := range change {
		c(&s.cfg)
	}
	s.server, err = web.New(s.cfg)
	require.NoError(t, err)
	return s
}

// trouble gives the list a cause with consequences, two smaller alarms, one
// that has cleared and one on a shelf.
func (s *stage) trouble(at time.Time) {
	dbm, limit := -14.25, -12.0
	up := func(resource, kind string, severity alarms.Severity, text string, ago time.Duration, change ...func(*alarms.Update)) {
		u := alarms.Update{Key: alarms.Key{Resource: resource, Type: kind}, Site: "north-quay", Active: true, Severity: severity, Text: text,
			Time: at.Add(-ago), Cause: alarms.Cause{Name: "degradedSignal", Number: 3}, EventType: alarms.CommunicationsAlarm}
		for _, c := range change {
			c(&u)
		}
		s.list.Apply(at.Add(-ago), u)
	}
	up("cable/north-quay-riser", "cable-cut", alarms.Critical, "Cable north-quay-riser is cut: all light in it is lost; send a splicing team", 12*time.Minute, func(u *alarms.Update) {
		u.Details = alarms.Details{Impacted: []string{"link/a1", "link/a2"}, Observed: &dbm, Threshold: &limit, Unit: "dBm",
			Actions:  []string{"Find the place of the cut from either end with a reflectometer."},
			Cautions: []string{"Never look into a fibre: the light is invisible, and dark does not mean safe."}}
	})
	up("unit/a1-room/optical_receive_power", "optical-signal-degraded", alarms.Major, "Light at a1-room is gone", 11*time.Minute, func(u *alarms.Update) {
		u.Hold = alarms.Hold{Reason: alarms.HoldSymptom, By: "cable/north-quay-riser"}
	})
	up("unit/a2-room", "supply-redundancy-lost", alarms.Minor, "Supply b of a2-room has failed; supply a carries the load", 3*time.Hour, func(u *alarms.Update) {
		u.Details.BackedUp, u.Details.BackupObject = true, "unit/a2-room/supply_state/a"
	})
	up("unit/a3-roof", "antenna-feed-fault", alarms.Warning, "Antenna feed of a3-roof draws too little", 26*time.Hour)
	up("unit/a3-room", "temperature-out-of-range", alarms.Warning, "a3-room is warm", time.Hour)
	s.list.Apply(at.Add(-time.Minute), alarms.Update{Key: alarms.Key{Resource: "unit/a3-room", Type: "temperature-out-of-range"}, Time: at.Add(-time.Minute)})
	up("unit/a4-room", "sensor-broken", alarms.Minor, "Temperature sensor of a4-room is broken", 30*time.Hour)
	_, err := s.list.Shelve(s.id("unit/a4-room", "sensor-broken"), alarms.Operation{Operator: "noc-1", Text: "part is on its way", Now: at, Until: at.Add(24 * time.Hour)})
	require.NoError(s.t, err)
}

func (s *stage) id(resource, kind string) string {
	return alarms.NewID(alarms.Key{Resource: resource, Type: kind})
}

type call struct {
	method, path, body, secret string
	header                     map[string]string
}

func (s *stage) do(c call) *httptest.ResponseRecorder {
	r := httptest.NewRequest(c.method, c.path, strings.NewReader(c.body))
	if c.body != "" {
		r.Header.Set("Content-Type", "application/json")
	}
	if c.secret != "" {
		r.Header.Set("Authorization", "Bearer "+c.secret)
	}
	for k, v := range c.header {
		r.Header.Set(k, v)
	}
	if host := c.header["Host"]; host != "" {
		r.Host = host
	}
	w := httptest.NewRecorder()
	s.server.ServeHTTP(w, r)
	return w
}

func (s *stage) get(path string) *httptest.ResponseRecorder {
	return s.do(call{method: "GET", path: path, secret: commissionSecret})
}

func decode(t testing.TB, w *httptest.ResponseRecorder) map[string]any {
	t.Helper()
	var out map[string]any
	require.NoError(t, json.NewDecoder(bytes.NewReader(w.Body.Bytes())).Decode(&out), w.Body.String())
	return out
}

func withoutTokens(c *web.Config) { c.Tokens = nil }

var errSilent = errors.New("probe unit \"b1-room\": no answer")

// poll is a poll of a unit that reads what the engine shows.
func (s *stage) poll(unit string, at time.Time) collector.Poll {
	p := collector.Poll{Unit: unit, Started: at}
	for _, v := range s.engine.Units() {
		if v.Unit.ID == unit {
			for _, pv := range v.Points {
				pv.Reading.Taken = at
				p.Readings = append(p.Readings, pv.Reading)
			}
		}
	}
	return p
}
