package alarms_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/baseline"
	"lightwell/collector"
)

var receivePower = collector.Point{Quantity: collector.OpticalReceivePower}

// power has nq-room read a receive power after d.
func (r *rig) power(d time.Duration, dbm float64) {
	r.now = r.now.Add(d)
	r.engine.Observe(poll("nq-room", r.now, reading(collector.OpticalReceivePower, dbm)))
	r.engine.Evaluate(r.now)
}

func (r *rig) point() alarms.PointView {
	u, ok := r.engine.Unit("nq-room")
	require.True(r, ok)
	return u.Points[receivePower]
}

func TestShapeOfADeviation(t *testing.T) {
	var ramp []float64
	for i := range 20 {
		ramp = append(ramp, -0.1*float64(i))
	}
	tests := map[string]struct {
		deviations []float64
		want       alarms.Shape
		left       time.Duration // after the start
	}{
		"none":                          {[]float64{0, 0.05, -0.05}, alarms.ShapeUnknown, -1},
		"step":                          {[]float64{0, 0, -2, -2.1, -1.9}, alarms.ShapeStep, 3 * time.Hour},
		"ramp":                          {ramp, alarms.ShapeRamp, 4 * time.Hour}, // the band is 0.25 dB wide
		"comes and goes":                {[]float64{0, -2, 0, -2, 0, -2}, alarms.ShapeComes, 6 * time.Hour},
		"once back":                     {[]float64{0, -2, 0, -2}, alarms.ShapeStep, 4 * time.Hour},
		"away from the first reading":   {[]float64{-2, -2, -2}, alarms.ShapeUnknown, -1},
		"a step too small to be called": {[]float64{0, 0, -0.3, -0.3}, alarms.ShapeUnknown, 3 * time.Hour},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			r := newRig(t, alarms.EngineConfig{Baselines: levels{receivePower: {Value: -3, Spread: 0.05}}})
			r.power(-time.Minute, -3) // the baseline meets its point
			r.now = start
			for _, d := range tt.deviations {
				r.power(time.Hour, -3+d)
			}
			pv := r.point()
			require.Equal(t, tt.want, pv.Shape())
			if tt.left < 0 {
				require.Zero(t, pv.Past.Left)
				return
			}
			require.Equal(t, at(tt.left), pv.Past.Left)
		})
	}
}

func TestRoughness(t *testing.T) {
	tests := map[string]struct {
		course func(i int) float64
		want   float64
	}{
		"quiet":                                {func(int) float64 { return -1 }, 0},
		"steps of two from reading to reading": {func(i int) float64 { return float64(i%2)*2 - 1 }, 2 / 0.954},
		"a slow ramp":                          {func(i int) float64 { return -0.02 * float64(i) }, 0.02 / 0.954},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			r := newRig(t, alarms.EngineConfig{Baselines: levels{receivePower: {Value: -3, Spread: 0.05}}})
			for i := range 40 {
				r.power(time.Minute, -3+tt.course(i))
			}
			past := r.point().Past
			require.InDelta(t, tt.want, past.Rough(), 0.001)
		})
	}
}

func TestReturnsAreForgottenAfterADay(t *testing.T) {
	r := newRig(t, alarms.EngineConfig{Baselines: levels{receivePower: {Value: -3, Spread: 0.05}}})
	r.power(0, -3)
	for range 3 {
		r.power(time.Minute, -3)
		r.power(time.Minute, -5)
	}
	require.Equal(t, 2, r.point().Past.Returns)
	r.power(25*time.Hour, -3)
	require.Zero(t, r.point().Past.Returns)
}

func TestCourseOverTheDay(t *testing.T) {
	const hour = 2 * math.Pi / 24
	wave := func(amplitude float64) func(float64) float64 {
		return func(h float64) float64 { return amplitude * math.Cos(hour*(h-15)) }
	}
	tests := map[string]struct {
		hours      int
		course     func(hour float64) float64
		amplitude  float64
		leastShare float64
		mostShare  float64
	}{
		"too short to tell": {48, wave(0.8), 0, 0, 0},
		"a swing":           {120, wave(0.8), 0.8, 0.99, 1},
		"a swing on a step": {168, func(h float64) float64 { return wave(0.8)(h) - 2 }, 0.8, 0.99, 1},
		"a step alone":      {120, func(h float64) float64 { return -2 * math.Round(min(h/140, 1)) }, 0, 0, 0.35},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			r := newRig(t, alarms.EngineConfig{Baselines: levels{receivePower: {Value: -3, Spread: 0.05}}})
			midnight := start.Truncate(24 * time.Hour)
			r.now = midnight
			for h := range tt.hours {
				r.power(time.Hour, -3+tt.course(float64(h+1)))
			}
			d := r.point().Daily
			require.GreaterOrEqual(t, d.Share, tt.leastShare)
			require.LessOrEqual(t, d.Share, tt.mostShare)
			if tt.leastShare > 0 {
				require.InDelta(t, tt.amplitude, d.Amplitude, 0.02)
				require.InDelta(t, 15*hour-2*math.Pi, d.Phase, 0.02, "greatest at 15 h")
			}
		})
	}
}

// dirty finds a dirty connector whenever it is asked.
func dirty(p float64) alarms.Finding {
	size := 2.0
	return alarms.Finding{
		Cause: "connector-dirty", Title: "Dirty or loose connector", Wording: alarms.Likely, Resource: "link/nq", Place: "downlink of link nq",
		Resources: []string{nqPower}, Probability: p, Size: &size, Unit: "dB",
	}
}

func TestFindingReachesTheAlarm(t *testing.T) {
	rule, asked := signalLost(), 0
	var seen []alarms.Finding
	find := []alarms.Finding{dirty(0.6), dirty(0.9)}
	r := newRig(t, alarms.EngineConfig{
		Baselines: levels{receivePower: baseline.Level{Value: -3, Spread: 0.05}},
		Diagnose: func(v *alarms.View) []alarms.Finding {
			if v.Site.ID != "north-quay" {
				return nil
			}
			asked++
			seen = v.Findings
			return find
		},
		Works: func(site string, now time.Time) []alarms.Work { return []alarms.Work{{ID: site, Begin: now}} },
	}, rule)
	r.power(time.Minute, -3)
	r.power(time.Minute, -3)
	require.Zero(t, asked, "nothing deviates")

	rule.verdicts(active(nqPower, r.now))
	r.power(time.Minute, -5)
	require.Equal(t, 1, asked)
	require.Nil(t, seen)
	a := r.alarm(nqPower, rule.typ.ID)
	require.InDelta(t, 0.9, a.Details.Finding.Probability, 1e-9, "the most probable one")
	require.Equal(t, []string{"raised!"}, r.took())
	require.Equal(t, "Likely dirty or loose connector: downlink of link nq, 2.0 dB.", r.engine.Events(1)[0].Text)
	require.Equal(t, find, r.engine.Findings("north-quay"))
	require.Empty(t, r.engine.Findings("nowhere"))

	find = []alarms.Finding{dirty(0.7)}
	events := len(r.engine.Events(0))
	r.step(time.Second)
	require.Len(t, seen, 2, "the diagnosis sees what it said before")
	require.InDelta(t, 0.7, r.alarm(nqPower, rule.typ.ID).Details.Finding.Probability, 1e-9)
	require.Empty(t, r.took(), "another finding is no change of state")
	require.Len(t, r.engine.Events(0), events, "nor is it told twice")

	rule.verdicts(clear(nqPower, r.now))
	r.power(time.Minute, -3)
	r.power(time.Minute, -3)
	require.Empty(t, r.engine.Findings("north-quay"), "nothing deviates any more")
}

func TestFindingThatExplainsNothing(t *testing.T) {
	rule := signalLost()
	rule.typ.EventType = alarms.ProcessingErrorAlarm
	r := newRig(t, alarms.EngineConfig{Diagnose: func(*alarms.View) []alarms.Finding { return []alarms.Finding{dirty(1)} }}, rule)
	rule.verdicts(active(nqPower, r.now))
	r.step(time.Second)
	require.Nil(t, r.alarm(nqPower, rule.typ.ID).Details.Finding, "an alarm about Lightwell's own work")
}

// TestAFindingThatContradicts: one that says that the links work explains no
// lost light, at whatever resource, however sure it is.
func TestAFindingThatContradicts(t *testing.T) {
	rule := signalLost()
	lost := dirty(1)
	lost.Cause, lost.Title, lost.Types = "management-lost", "Management network lost; the links probably work", []string{"unit-unreachable"}
	find := []alarms.Finding{lost}
	r := newRig(t, alarms.EngineConfig{
		Baselines: levels{receivePower: baseline.Level{Value: -3, Spread: 0.05}},
		Diagnose:  func(*alarms.View) []alarms.Finding { return find },
	}, rule)
	rule.verdicts(active(nqPower, r.now))
	r.power(time.Minute, -5)
	require.Nil(t, r.alarm(nqPower, rule.typ.ID).Details.Finding)
	find = append(find, dirty(0.3))
	r.power(time.Minute, -5)
	require.Equal(t, "connector-dirty", r.alarm(nqPower, rule.typ.ID).Details.Finding.Cause)
	find = []alarms.Finding{dirty(0.3)}
	find[0].Types = []string{rule.typ.ID}
	r.power(time.Minute, -5)
	require.NotNil(t, r.alarm(nqPower, rule.typ.ID).Details.Finding)
}

func TestDiagnosisThatPanics(t *testing.T) {
	rule := signalLost()
	r := newRig(t, alarms.EngineConfig{Diagnose: func(*alarms.View) []alarms.Finding { panic("oops") }}, rule)
	rule.verdicts(active(nqPower, r.now))
	r.step(time.Second)
	r.step(time.Second)
	require.False(t, r.alarm(nqPower, rule.typ.ID).Cleared, "alarms go on without it")
	require.EqualValues(t, 1, r.engine.Stats().RulePanics)
	require.Contains(t, r.eventKinds(), alarms.EventRuleFailed)
}

func TestSentenceOfAFinding(t *testing.T) {
	f := dirty(1)
	require.Equal(t, "Likely dirty or loose connector: downlink of link nq, 2.0 dB.", f.Sentence())
	f.Wording, f.Size = alarms.Confirmed, nil
	require.Equal(t, "Confirmed: dirty or loose connector: downlink of link nq.", f.Sentence())
}

func TestWorkTouches(t *testing.T) {
	w := alarms.Work{Resources: []string{"link/nq"}, Begin: start, End: at(time.Hour)}
	require.True(t, w.Touches(at(30*time.Minute), 0, "unit/x", "link/nq"))
	require.True(t, w.Touches(at(2*time.Hour), 2*time.Hour, "link/nq"), "shortly after")
	require.False(t, w.Touches(at(4*time.Hour), 2*time.Hour, "link/nq"))
	require.False(t, w.Touches(at(-time.Minute), time.Hour, "link/nq"), "before it began")
	require.False(t, w.Touches(at(30*time.Minute), 0, "link/other"))
	w.End = time.Time{}
	require.True(t, w.Touches(at(48*time.Hour), 0, "link/nq"), "still under way")
}

func TestSiteOf(t *testing.T) {
	f := smallFleet()
	for resource, want := range map[string]string{
		"site/north-quay": "north-quay", "cable/nq-riser": "north-quay", "link/nq": "north-quay", "unit/sq-room": "south-quay",
		"unit/nq-room/optical_receive_power": "north-quay", "unit/nobody": "", "nothing": "",
	} {
		site, ok := alarms.SiteOf(f, resource)
		require.Equal(t, want != "", ok, resource)
		require.Equal(t, want, site, resource)
	}
}
