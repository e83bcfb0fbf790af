package metrics_test

import (
	"bytes"
	"errors"
	"flag"
	"fmt"
	"math"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/prometheus/client_golang/prometheus/testutil"
	dto "github.com/prometheus/client_model/go"
	"github.com/prometheus/common/expfmt"
	"github.com/prometheus/common/model"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"lightwell/alarms"
	"lightwell/alarms/baseline"
	"lightwell/alarms/metrics"
	"lightwell/alarms/notify"
	"lightwell/collector"
	"lightwell/collector/need"
	"lightwell/collector/snmp/engine"
)

var update = flag.Bool("update", false, "rewrite golden files")

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

var (
	_ metrics.Engine    = (*alarms.Engine)(nil)
	_ metrics.List      = (*alarms.List)(nil)
	_ metrics.Webhooks  = (*notify.Dispatcher)(nil)
	_ metrics.Baselines = (*baseline.Book)(nil)
)

// plant stands for engine, list, dispatcher and book.
type plant struct {
	units  []*alarms.UnitView
	load   alarms.LoadFigures
	list   []alarms.Alarm
	hooks  []notify.Stats
	states map[string]string
}

func (p *plant) EachSite(fn func([]*alarms.UnitView) bool) { fn(p.units) }

func (p *plant) Load(time.Time) alarms.LoadFigures { return p.load }

func (p *plant) Each(f alarms.Filter, fn func(*alarms.Alarm) bool) {
	for i := range p.list {
		a := &p.list[i]
		if a.Cleared && f.Clearance == alarms.ClearanceNotCleared || a.Shelved() && f.Shelving == alarms.ShelvingNone {
			continue
		}
		if !fn(a) {
			return
		}
	}
}

func (p *plant) Stats() []notify.Stats { return p.hooks }

func (p *plant) State(unit string) string { return p.states[unit] }

func (p *plant) metrics() *metrics.Metrics {
	wiring := fleet()
	return metrics.New(metrics.Config{
		Version: "test", Engine: p, List: p, Webhooks: p, Baselines: p, Trends: p, Fleet: func() *collector.Fleet { return wiring },
		Types:     []alarms.Type{{ID: "supply-failed", Severity: alarms.Major}},
		Missed:    func() uint64 { return 2 },
		Datagrams: func() engine.Stats { return engine.Stats{Sent: 9, Received: 8, Stray: 3, Aside: 2, Undelivered: 1} },
		State: func() metrics.StateFigures {
			return metrics.StateFigures{LastWrite: polled, Waiting: 3, Rows: map[string]int64{"changes": 1200, "outbox": 4}, Bytes: 1 << 21, DiskUsed: 0.25}
		},
	})
}

var polled = time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)

func point(q collector.Quantity, port string) collector.Point {
	return collector.Point{Quantity: q, Port: port}
}

// good makes the view of a point with a good reading.
func good(q collector.Quantity, port string, v float64) (collector.Point, alarms.PointView) {
	p := point(q, port)
	return p, alarms.PointView{Reading: collector.Reading{Point: p, Value: v, Taken: polled}}
}

// compared adds a baseline to the view of a point.
func compared(q collector.Quantity, port string, v, base float64) (collector.Point, alarms.PointView) {
	p, pv := good(q, port, v)
	pv.Baseline, pv.Deviation, pv.Compared = &baseline.Level{Value: base}, v-base, true
	return p, pv
}

func newUnit(id string, role collector.Role) *alarms.UnitView {
	return &alarms.UnitView{
		Unit:   collector.Unit{ID: id, Site: "north-quay", Role: role, Equipment: collector.Equipment{Model: "rack-dual-supply"}},
		Polled: polled, LastSuccess: polled, StartedAt: polled.Add(-time.Hour), Points: map[collector.Point]alarms.PointView{},
	}
}

// fleet is the wiring of story: one link, planned with a single noise figure,
// so that C/N0 is a range.
func fleet() *collector.Fleet {
	least, sent := -12.0, 0.0
	kind := collector.Equipment{
		Points: []collector.Point{point(collector.OpticalReceivePower, ""), point(collector.OpticalTransmitPower, "")},
		Limits: collector.Limits{ReceivePowerMinDBm: &least},
		Optics: collector.Optics{TransmitPowerDBm: &sent, MonitorErrorDB: 1, Noise: []collector.NoisePoint{{LossDB: 3, NoiseFigureDB: 26}}},
	}
	return collector.NewFleet(collector.Fleet{
		Units: []collector.Unit{{ID: "nq-roof", Site: "north-quay", Equipment: kind}, {ID: "nq-room", Site: "north-quay", Equipment: kind}, {ID: "nq-new", Site: "north-quay"}},
		Links: []collector.Link{
			{ID: "nq", Outdoor: "nq-roof", Indoor: "nq-room", Downlink: collector.Path{Connectors: 8, Splices: 2},
				RF: &collector.RF{GainBeforeLaserDB: 30, NoiseFigureBeforeLaserDB: 1.5, AntennaNoiseK: 130, CarrierDBW: -155, CN0MinDBHz: 37}},
			{ID: "nq-2", Outdoor: "nq-new", Indoor: "nq-new"}, // nothing is known of it
		},
	})
}

// story is a small fleet: a unit with every quantity, one that is silent, one
// never polled; alarms of every standing; two endpoints.
func story() *plant {
	room, silent, fresh := newUnit("nq-room", collector.Indoor), newUnit("nq-roof", collector.Outdoor), newUnit("nq-new", collector.Indoor)
	set := func(u *alarms.UnitView, p collector.Point, pv alarms.PointView) { u.Points[p] = pv }
	for _, q := range collector.Quantities() {
		p, pv := good(q.Quantity, "", 1)
		if q.Compared {
			p, pv = compared(q.Quantity, "", 3.5, 2)
		}
		if q.Quantity == collector.SupplyState || q.Quantity == collector.SupplyVoltage {
			continue
		}
		set(room, p, pv)
	}
	for port, v := range map[string]float64{"a": 0, "b": 1} {
		p, pv := good(collector.SupplyState, port, v)
		set(room, p, pv)
	}
	p, pv := compared(collector.SupplyVoltage, "a", 47.9, 48)
	set(room, p, pv)
	for port, q := range map[string]collector.Quality{"b": collector.Unavailable, "c": collector.Broken, "d": collector.OutOfRange} {
		p, pv := good(collector.SupplyVoltage, port, 12345)
		pv.Reading.Quality = q
		set(room, p, pv)
	}
	fading(room)
	p, pv = compared(collector.OpticalReceivePower, "", -9.25, -7.5)
	set(silent, p, pv)
	silent.Err = fmt.Errorf("poll: %w", collector.ErrNoAnswer)
	fresh.Polled, fresh.LastSuccess, fresh.StartedAt = time.Time{}, time.Time{}, time.Time{}

	active := func(kind string, s alarms.Severity, change func(*alarms.Alarm)) alarms.Alarm {
		a := alarms.Alarm{Key: alarms.Key{Type: kind}, Severity: s, Operator: alarms.OperatorNone, Announced: true}
		change(&a)
		return a
	}
	return &plant{
		units:  []*alarms.UnitView{room, silent, fresh},
		states: map[string]string{"nq-room": "accepted", "nq-roof": "capturing", "nq-new": "commissioning"},
		list: []alarms.Alarm{
			active("unit-unreachable", alarms.Major, func(*alarms.Alarm) {}),
			active("unit-unreachable", alarms.Major, func(a *alarms.Alarm) { a.Operator = alarms.OperatorAck }),
			active("supply-redundancy-lost", alarms.Minor, func(a *alarms.Alarm) { a.ShelfName = "spare ordered" }),
			active("rf-level-deviation", alarms.Minor, func(a *alarms.Alarm) { a.Hold.Reason, a.Announced = alarms.HoldSymptom, false }),
			active("rf-level-deviation", alarms.Minor, func(a *alarms.Alarm) { a.Hold.Reason, a.Announced = alarms.HoldPlannedWork, false }),
			active("laser-failed", alarms.Critical, func(a *alarms.Alarm) { a.Cleared, a.Announced = true, false }),
		},
		load: alarms.LoadFigures{
			LastInterval: 12, Average: 0.75, AboveTen: 2, Floods: []alarms.Flood{{Start: polled}},
			Chattering: make([]alarms.Key, 1), Fleeting: make([]alarms.Key, 2), Stale: make([]alarms.Key, 3),
		},
		hooks: []notify.Stats{
			{Endpoint: "noc", State: notify.Active, Attempts: 9, Failures: 2, Delivered: 6, LastSuccess: polled},
			{Endpoint: "chat", State: notify.Stopped, Attempts: 3, Failures: 3, GivenUp: 1, Dropped: 4, Pending: 5, Dead: 1, Oldest: polled.Add(-time.Minute)},
		},
	}
}

// page returns the page as text, without the families of Go, process and the
// handler itself, which differ from run to run.
func page(t *testing.T, m *metrics.Metrics) string {
	t.Helper()
	w := httptest.NewRecorder()
	m.Handler().ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/metrics", nil))
	require.Equal(t, http.StatusOK, w.Code, w.Body.String())
	var out strings.Builder
	for line := range strings.Lines(w.Body.String()) {
		name := strings.TrimPrefix(strings.TrimPrefix(line, "# HELP "), "# TYPE ")
		if strings.HasPrefix(name, "lightwell_") && !strings.HasPrefix(line, "lightwell_build_info") {
			out.WriteString(line)
		}
	}
	return out.String()
}

func TestPageGolden(t *testing.T) {
	synctest.Test(t, func(t *testing.T) { // the clock of a bubble always starts at the same time
		m := story().metrics()
		for _, took := range []time.Duration{20 * time.Millisecond, 40 * time.Millisecond} {
			m.ObservePoll(collector.Poll{Unit: "nq-room", Took: took})
		}
		m.ObservePoll(collector.Poll{Unit: "nq-roof", Took: 6 * time.Second, Err: collector.ErrNoAnswer})
		m.ObservePoll(collector.Poll{Unit: "removed", Took: time.Second})
		m.ObserveReload(false, polled)
		got := page(t, m)
		const file = "testdata/page.prom"
		if *update {
			require.NoError(t, os.WriteFile(file, []byte(got), 0o644))
		}
		want, err := os.ReadFile(file)
		require.NoError(t, err)
		require.Equal(t, string(want), got)
	})
}

func TestLint(t *testing.T) {
	problems, err := testutil.GatherAndLint(gatherer{story().metrics()})
	require.NoError(t, err)
	require.Empty(t, problems)
}

func TestPromtool(t *testing.T) {
	promtool := need.Program(t, "promtool")
	w := httptest.NewRecorder()
	story().metrics().Handler().ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/metrics", nil))
	cmd := exec.Command(promtool, "check", "metrics")
	cmd.Stdin = w.Body
	out, err := cmd.CombinedOutput()
	require.NoError(t, err, string(out))
	require.Empty(t, string(out))
}

// The rules of OpenMetrics 1.0 for every family of ours, whatever is added to
// the quantity table.
func TestFamilyRules(t *testing.T) {
	for name, f := range gather(t, story().metrics()) {
		if !strings.HasPrefix(name, "lightwell_") {
			continue
		}
		require.True(t, strings.HasSuffix(f.GetHelp(), "."), "%s: help is a sentence", name)
		seen := map[string]bool{}
		for _, s := range f.GetMetric() {
			labels := ""
			for _, l := range s.GetLabel() {
				require.NotContains(t, []string{"type", "region", "zone", "service", "env"}, l.GetName(), name)
				labels += l.String()
			}
			require.False(t, seen[labels], "%s: twice %s", name, labels)
			seen[labels] = true
			require.Zero(t, s.GetTimestampMs(), "no explicit timestamps on live data")
			v := s.GetGauge().GetValue() + s.GetCounter().GetValue()
			require.False(t, math.IsNaN(v) || math.IsInf(v, 0), name)
		}
	}
}

// gatherer gives the families until they are gathered again.
type gatherer struct{ *metrics.Metrics }

// Gather implements prometheus.Gatherer.
func (g gatherer) Gather() ([]*dto.MetricFamily, error) {
	all, done, err := g.Metrics.Gather()
	done()
	return all, err
}

func gather(t *testing.T, m *metrics.Metrics) map[string]*dto.MetricFamily {
	t.Helper()
	all, err := gatherer{m}.Gather()
	require.NoError(t, err)
	out := map[string]*dto.MetricFamily{}
	for _, f := range all {
		out[f.GetName()] = f
	}
	return out
}

// value returns the sample whose labels contain all of the given pairs.
func value(t *testing.T, f *dto.MetricFamily, pairs ...string) (float64, bool) {
	t.Helper()
	for _, s := range f.GetMetric() {
		got := map[string]string{}
		for _, l := range s.GetLabel() {
			got[l.GetName()] = l.GetValue()
		}
		fits := true
		for i := 0; i+1 < len(pairs); i += 2 {
			fits = fits && got[pairs[i]] == pairs[i+1]
		}
		if fits {
			return s.GetGauge().GetValue() + s.GetCounter().GetValue(), true
		}
	}
	return 0, false
}

func TestBaseUnits(t *testing.T) {
	p := story()
	got := gather(t, p.metrics())
	for _, tt := range []struct {
		family string
		want   float64
	}{
		{"lightwell_laser_bias_amperes", 0.0035}, // 3.5 mA
		{"lightwell_laser_bias_baseline_amperes", 0.002},
		{"lightwell_laser_bias_deviation_amperes", 0.0015},
		{"lightwell_lna_current_amperes", 0.0035},
		{"lightwell_optical_receive_power_dbm", 3.5},
		{"lightwell_optical_receive_power_baseline_dbm", 2},
		{"lightwell_optical_receive_power_deviation_decibels", 1.5},
		{"lightwell_rf_noise_floor_baseline_dbm_per_hertz", 2},
		{"lightwell_rf_noise_floor_deviation_decibels", 1.5},
		{"lightwell_agc_attenuation_deviation_decibels", 1.5},
	} {
		v, ok := value(t, got[tt.family], "unit", "nq-room")
		require.True(t, ok, tt.family)
		require.InDelta(t, tt.want, v, 1e-12, tt.family)
	}
}

// OpenMetrics 1.0, state sets: one sample per state, exactly one of them 1.
func TestStateSet(t *testing.T) {
	f := gather(t, story().metrics())["lightwell_supply_state"]
	for _, tt := range []struct {
		port, state string
		want        float64
	}{
		{"a", "good", 1}, {"a", "failed", 0}, {"a", "absent", 0},
		{"b", "good", 0}, {"b", "failed", 1}, {"b", "absent", 0},
	} {
		v, ok := value(t, f, "port", tt.port, "supply_state", tt.state)
		require.True(t, ok)
		require.Equal(t, tt.want, v, "%s %s", tt.port, tt.state)
	}
	require.Len(t, f.GetMetric(), 6)
}

func TestSilentUnit(t *testing.T) {
	p := story()
	m := p.metrics()
	room := p.units[0]
	present := func() (n int) {
		for name, f := range gather(t, m) {
			if _, ok := value(t, f, "unit", "nq-room"); ok && !strings.Contains(name, "lightwell_unit_") && !strings.Contains(name, "baseline") && !strings.Contains(name, "trend_") && !strings.Contains(name, "ageing") && !strings.Contains(name, "polls") && !strings.Contains(name, "poll_") {
				n++
			}
		}
		return n
	}
	require.Greater(t, present(), 20)
	room.Err = errors.New("no answer")
	require.Zero(t, present(), "its readings disappear; baselines and trends stay")
	got := gather(t, m)
	up, ok := value(t, got["lightwell_unit_up"], "unit", "nq-room")
	require.True(t, ok, "its up stays")
	require.Zero(t, up)
	at, ok := value(t, got["lightwell_unit_last_success_timestamp_seconds"], "unit", "nq-room")
	require.True(t, ok)
	require.EqualValues(t, polled.Unix(), at)
	_, ok = value(t, got["lightwell_optical_receive_power_baseline_dbm"], "unit", "nq-room")
	require.True(t, ok, "a baseline is no reading")
	room.Err = nil
	require.Greater(t, present(), 20)
}

func TestNoNumberIsLeftOut(t *testing.T) {
	p := story()
	for _, v := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		pt, pv := compared(collector.OpticalReceivePower, "", v, v)
		p.units[0].Points[pt] = pv
		got := gather(t, p.metrics())
		_, ok := value(t, got["lightwell_optical_receive_power_dbm"], "unit", "nq-room")
		require.False(t, ok)
		_, ok = value(t, got["lightwell_optical_receive_power_deviation_decibels"], "unit", "nq-room")
		require.False(t, ok)
	}
}

// A count that there was goes to zero and stays, so that an expression over
// it resolves; one known in advance starts at zero.
func TestAlarmCountsStay(t *testing.T) {
	p := story()
	m := p.metrics()
	v, ok := value(t, gather(t, m)["lightwell_alarms"], "alarm_type", "supply-failed", "severity", "major")
	require.True(t, ok)
	require.Zero(t, v)
	v, _ = value(t, gather(t, m)["lightwell_alarms"], "alarm_type", "unit-unreachable", "severity", "major")
	require.EqualValues(t, 2, v)
	p.list = nil
	v, ok = value(t, gather(t, m)["lightwell_alarms"], "alarm_type", "unit-unreachable", "severity", "major")
	require.True(t, ok)
	require.Zero(t, v)
}

func TestWithoutOptionalParts(t *testing.T) {
	p := story()
	m := metrics.New(metrics.Config{Engine: p, List: p})
	got := gather(t, m)
	require.NotContains(t, got, "lightwell_webhook_pending")
	require.NotContains(t, got, "lightwell_unit_baseline_state")
	require.Contains(t, got, "lightwell_unit_up")
}

// A label that is no text spoils its own sample, not the page.
func TestBadLabelSpoilsNoPage(t *testing.T) {
	p := story()
	pt, pv := good(collector.SupplyVoltage, "\xff", 48)
	p.units[0].Points[pt] = pv
	require.Contains(t, page(t, p.metrics()), `lightwell_unit_up{site="north-quay",unit="nq-room"} 1`)
}

func TestOpenMetrics(t *testing.T) {
	r := httptest.NewRequest(http.MethodGet, "/metrics", nil)
	r.Header.Set("Accept", "application/openmetrics-text; version=1.0.0")
	w := httptest.NewRecorder()
	story().metrics().Handler().ServeHTTP(w, r)
	require.Contains(t, w.Header().Get("Content-Type"), "application/openmetrics-text; version=1.0.0")
	require.True(t, bytes.HasSuffix(w.Body.Bytes(), []byte("# EOF\n")))
}

func TestReload(t *testing.T) {
	m := story().metrics()
	m.ObserveReload(true, polled)
	m.ObserveReload(false, polled.Add(time.Hour))
	got := gather(t, m)
	v, _ := value(t, got["lightwell_config_last_reload_successful"])
	require.Zero(t, v)
	v, _ = value(t, got["lightwell_config_last_reload_success_timestamp_seconds"])
	require.EqualValues(t, polled.Unix(), v)
	m.ObserveReload(true, polled.Add(2*time.Hour))
	v, _ = value(t, gather(t, m)["lightwell_config_last_reload_successful"])
	require.EqualValues(t, 1, v)
}

func TestPageIsParsed(t *testing.T) {
	w := httptest.NewRecorder()
	fleetOf(3, 12, 0).metrics().Handler().ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/metrics", nil))
	parser := expfmt.NewTextParser(model.LegacyValidation)
	got, err := parser.TextToMetricFamilies(w.Body)
	require.NoError(t, err)
	require.Len(t, got["lightwell_rf_input_level_dbm"].GetMetric(), 36)
}
