package diagnosis_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/baseline"
	"lightwell/alarms/diagnosis"
	"lightwell/alarms/drift"
	"lightwell/alarms/rules"
	"lightwell/collector"
	"lightwell/collector/model"
)

var at = time.Date(2026, 6, 1, 12, 0, 0, 0, time.UTC)

// still is a view of two links at which all is as at commissioning.
func still(t testing.TB, l layout) *alarms.View {
	models, err := model.Builtin()
	require.NoError(t, err)
	l.links, l.cables, l.indoor, l.down, l.up = max(l.links, 2), 1, "rack-dual-supply", 1310, 1310
	f := l.fleet(t, models)
	v := &alarms.View{Now: at, Site: f.Sites[0], Fleet: f}
	for _, u := range f.Units {
		uv := &alarms.UnitView{Unit: u, Polled: at, LastSuccess: at, StartedAt: at.Add(-1000 * time.Hour), Baselined: true, Points: map[collector.Point]alarms.PointView{}}
		for _, p := range u.Equipment.Points {
			level := usual[p.Quantity]
			level.TempRefC = 25
			pv := alarms.PointView{Reading: collector.Reading{Unit: u.ID, Point: p, Value: level.Value, Taken: at}}
			if info, _ := p.Quantity.Info(); info.Compared {
				pv.Baseline, pv.Compared = &level, true
			}
			uv.Points[p] = pv
		}
		v.Units = append(v.Units, uv)
	}
	return v
}

// move moves a point away from its baseline.
func move(v *alarms.View, unit string, q collector.Quantity, by float64, change ...func(*alarms.PointView)) {
	p := collector.Point{Quantity: q}
	pv := v.Unit(unit).Points[p]
	pv.Reading.Value += by
	pv.Deviation += by
	for _, c := range change {
		c(&pv)
	}
	v.Unit(unit).Points[p] = pv
}

func dirtyFibre(v *alarms.View) {
	move(v, "i1", collector.OpticalReceivePower, -2)
	move(v, "i1", collector.RFOutputLevel, -4)
}

func firstOf(t testing.TB, v *alarms.View) alarms.Finding {
	t.Helper()
	found := diagnosis.Diagnose(v)
	require.NotEmpty(t, found)
	return found[0]
}

func TestStillSite(t *testing.T) {
	require.Empty(t, diagnosis.Diagnose(still(t, layout{})))
}

func TestWhatAFindingSays(t *testing.T) {
	v := still(t, layout{})
	dirtyFibre(v)
	f := firstOf(t, v)
	require.Equal(t, "connector-dirty", f.Cause)
	require.Equal(t, "Likely dirty or loose connector: downlink of link l1 (cable c1, strand 1), from o1 to i1, 2.0 dB.", f.Sentence())
	require.Equal(t, 1, f.Strand)
	require.Equal(t, []string{"link/l1"}, f.Links)
	for _, r := range []string{"link/l1", "unit/i1/optical_receive_power", "unit/i1/optical_receive_state", "unit/i1/rf_output_level"} {
		require.Contains(t, f.Resources, r)
	}
	require.NotContains(t, f.Resources, "unit/i1", "a supply of the same unit has another cause")
	for _, text := range []string{
		"i1 receives 2.0 dB less light than at its baseline", "RF moved -4.0 dB for -2.0 dB of light, 2.0 to one: a real optical loss",
		"the transmitter gives what it gave (+0.0 dB): the loss is on the way or at the receiver", "3 other fibres of cable c1 are as they were",
	} {
		require.Contains(t, f.Evidence, text)
	}
	require.Contains(t, f.Deciding, "1310 and at 1550 nm", "a bend and a joint look the same at one wavelength")
	require.True(t, slices.ContainsFunc(f.Others, func(o alarms.Alternative) bool { return o.Cause == "fibre-bend" && o.Resource == "link/l1" }))
	require.NotEmpty(t, f.Cautions)
}

// TestStaleIsNotZero: what a roof unit said before its fibre went dark counts
// for nothing, whatever it is.
func TestStaleIsNotZero(t *testing.T) {
	v := still(t, layout{via: true})
	dark := func(pv *alarms.PointView) { pv.Reading.Value, pv.Compared = baseline.NoLightDBm, false }
	move(v, "i1", collector.OpticalReceivePower, 0, dark)
	clean := diagnosis.Diagnose(v)
	require.Len(t, clean, 1)
	move(v, "o1", collector.OpticalTransmitPower, -20)
	move(v, "o1", collector.LaserBias, 40)
	move(v, "o1", collector.RFInputLevel, -30)
	require.Equal(t, clean, diagnosis.Diagnose(v))
}

// TestTheMomentAfterACut: the roof units are silent and the room units were
// read before the cut. Until they are read again, the way to the roof units
// looks like what is lost; that finding is about readings alone.
func TestTheMomentAfterACut(t *testing.T) {
	v := still(t, layout{via: true})
	for _, u := range v.Units {
		if u.Unit.Via != "" {
			for p, pv := range u.Points {
				pv.Reading.Quality, pv.Compared = collector.Unavailable, false
				u.Points[p] = pv
			}
		}
	}
	found := diagnosis.Diagnose(v)
	require.NotEmpty(t, found)
	for _, f := range found {
		if f.Cause == "management-lost" {
			require.NotEmpty(t, f.Types)
		}
	}
	for _, c := range diagnosis.Causes() {
		for _, id := range c.Types {
			require.Contains(t, alarmTypes(), id, c.ID)
			require.NotContains(t, id, "optical")
		}
	}
}

func alarmTypes() (all []string) {
	for _, r := range rules.All() {
		all = append(all, r.Type().ID)
	}
	return all
}

// TestMissingIsNotZero: a point that is unavailable is the same as one that
// the model does not have.
func TestMissingIsNotZero(t *testing.T) {
	v := still(t, layout{})
	dirtyFibre(v)
	move(v, "i1", collector.RFOutputLevel, 0, func(pv *alarms.PointView) { pv.Reading.Quality, pv.Compared = collector.Unavailable, false })
	f := firstOf(t, v)
	require.Equal(t, "connector-dirty", f.Cause)
	require.False(t, slices.ContainsFunc(f.Evidence, func(s string) bool { return len(s) > 2 && s[:2] == "RF" }), f.Evidence)
}

func TestGarbageDoesNoHarm(t *testing.T) {
	for _, bad := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), 1e300} {
		v := still(t, layout{})
		dirtyFibre(v)
		move(v, "o2", collector.RFInputLevel, bad)
		move(v, "i2", collector.LaserBias, bad)
		found := diagnosis.Diagnose(v)
		require.True(t, slices.ContainsFunc(found, func(f alarms.Finding) bool { return f.Cause == "connector-dirty" }), "%v: %s", bad, describe(found))
		for _, f := range found {
			require.False(t, math.IsNaN(f.Probability))
		}
	}
}

// TestFindingsKeepTheirPlace: of two causes that fit nearly alike the one that
// was found last time stays.
func TestFindingsKeepTheirPlace(t *testing.T) {
	v := still(t, layout{})
	move(v, "o2", collector.RFInputLevel, -5)
	move(v, "i2", collector.RFOutputLevel, -5)
	for _, q := range []collector.Quantity{collector.LNACurrent, collector.AntennaFeedState} {
		move(v, "o2", q, 0, func(pv *alarms.PointView) { pv.Reading.Quality, pv.Compared = collector.Unavailable, false })
	}
	require.Equal(t, "antenna-obstructed", firstOf(t, v).Cause)
	v.Findings = []alarms.Finding{{Cause: "water-in-coax", Resource: "unit/o2"}}
	require.Equal(t, "water-in-coax", firstOf(t, v).Cause)
	v.Findings[0].Resource = "unit/o1"
	require.Equal(t, "antenna-obstructed", firstOf(t, v).Cause, "only where it was")
}

func TestWorkIsEvidence(t *testing.T) {
	dark := func(pv *alarms.PointView) { pv.Reading.Value, pv.Compared = baseline.NoLightDBm, false }
	for name, c := range map[string]struct {
		work alarms.Work
		want string
	}{
		"none":                 {alarms.Work{}, "fibre-open"},
		"at the link":          {alarms.Work{Resources: []string{"link/l1"}, Begin: at.Add(-time.Hour)}, "pair-crossed"},
		"at the site":          {alarms.Work{Resources: []string{"site/s"}, Begin: at.Add(-time.Hour)}, "pair-crossed"},
		"at the other link":    {alarms.Work{Resources: []string{"link/l2"}, Begin: at.Add(-time.Hour)}, "fibre-open"},
		"over for a week":      {alarms.Work{Resources: []string{"link/l1"}, Begin: at.Add(-200 * time.Hour), End: at.Add(-168 * time.Hour)}, "fibre-open"},
		"begun only afterward": {alarms.Work{Resources: []string{"link/l1"}, Begin: at.Add(time.Hour)}, "fibre-open"},
	} {
		t.Run(name, func(t *testing.T) {
			v := still(t, layout{})
			move(v, "i1", collector.OpticalReceivePower, 0, dark)
			move(v, "o1", collector.OpticalReceivePower, 0, dark)
			v.Works = []alarms.Work{c.work}
			found := diagnosis.Diagnose(v)
			require.Equal(t, c.want, found[0].Cause, describe(found))
			require.Equal(t, "link/l1", found[0].Resource)
			require.Len(t, found, 1)
			require.Equal(t, c.want == "pair-crossed", slices.Contains(found[0].Evidence, "work was done there shortly before"))
		})
	}
}

// TestLongMemory: where the short memory saw nothing of the course, the trend
// tells, and a laser's own model goes before the usual one.
func TestLongMemory(t *testing.T) {
	v := still(t, layout{})
	dirtyFibre(v)
	move(v, "i1", collector.OpticalReceivePower, 0, func(pv *alarms.PointView) { pv.Trend = &drift.Trend{Drift: true} })
	require.Equal(t, "joint-creep", firstOf(t, v).Cause)
	move(v, "i1", collector.OpticalReceivePower, 0, func(pv *alarms.PointView) { pv.Trend = &drift.Trend{Intermittent: true, Drift: true} })
	require.Equal(t, "connector-dirty", firstOf(t, v).Cause)

	v = still(t, layout{})
	own := &drift.LaserTrend{Index: 0.25, IndexSE: 0.01, Judged: at.Add(-24 * time.Hour)}
	move(v, "o1", collector.LaserBias, 0, func(pv *alarms.PointView) { pv.Laser = own })
	f := firstOf(t, v)
	require.Equal(t, "laser-ageing", f.Cause)
	require.InDelta(t, 25, *f.Size, 1)
	own.Judged = at.Add(-30 * 24 * time.Hour)
	require.Empty(t, diagnosis.Diagnose(v), "a verdict that is a month old is none")
}

// TestAnything: whatever deviates, the diagnosis ends, and what it says makes
// sense.
func TestAnything(t *testing.T) {
	known := map[string]bool{}
	for _, c := range diagnosis.Causes() {
		known[c.ID] = true
	}
	for seed := range uint64(150) {
		rng := rand.New(rand.NewPCG(seed, 1))
		v := still(t, layout{links: 1 + rng.IntN(5), via: seed%2 == 0, shared: seed%3 == 0})
		for _, u := range v.Units {
			if rng.IntN(8) == 0 {
				u.Err = collector.ErrNoAnswer
			}
			for p, pv := range u.Points {
				info, _ := p.Quantity.Info()
				switch {
				case rng.IntN(10) == 0:
					pv.Reading.Quality, pv.Compared = collector.Quality(1+rng.IntN(3)), false
				case rng.IntN(3) != 0:
				case info.States != nil:
					pv.Reading.Value = float64(rng.IntN(len(info.States)))
				default:
					pv.Deviation = 30 * rng.NormFloat64()
					pv.Reading.Value += pv.Deviation
				}
				u.Points[p] = pv
			}
		}
		found := diagnosis.Diagnose(v)
		require.LessOrEqual(t, len(found), diagnosis.MaxFindings)
		for _, f := range found {
			require.True(t, known[f.Cause])
			require.True(t, f.Probability >= 0 && f.Probability <= 1, describe(found))
			require.NotEmpty(t, f.Evidence)
			require.NotEmpty(t, f.Place)
			_, there := alarms.SiteOf(v.Fleet, f.Resource)
			require.True(t, there, "%s is in the fleet", f.Resource)
			for _, o := range f.Others {
				require.True(t, o.Probability >= 0 && o.Probability <= 1)
			}
		}
	}
}
