package rules_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/baseline"
	"lightwell/alarms/rules"
	"lightwell/collector"
)

// scramble puts anything anywhere: a site as no plant makes it.
func scramble(t testing.TB, r *rand.Rand) *scene {
	s := newScene(t)
	ids := []string{"u0", "u1", "u2", "u3", "u4", "u5", "u6", "u7"}[:1+r.IntN(8)]
	kinds := []collector.Equipment{roofKind, rackKind, {Supplies: 2}, {Supplies: 1, Limits: roofKind.Limits, Points: points("optical_receive_power/1", "optical_receive_power/2", "optical_receive_state/3", "laser_state", "rf_output_level/2")}}
	pick := func() string { return ids[r.IntN(len(ids))] }
	for _, id := range ids {
		role, via := collector.Indoor, ""
		if r.IntN(2) == 0 {
			role = collector.Outdoor
		}
		if r.IntN(2) == 0 {
			via = pick()
		}
		scrambleUnit(r, s.unit(id, role, kinds[r.IntN(len(kinds))], via))
	}
	for i := range r.IntN(7) {
		cables := []string{"", "riser", "mast"}
		s.link("l"+string(rune('0'+i)), pick(), pick(), cables[r.IntN(3)], r.IntN(4))
		if r.IntN(5) == 0 {
			s.fleet.Links[i].Outdoor = "gone"
		}
	}
	return s
}

func scrambleUnit(r *rand.Rand, u *alarms.UnitView) {
	errs := []error{nil, nil, nil, nil, collector.ErrNoAnswer, collector.ErrRefused, collector.ErrMalformed}
	u.Err = errs[r.IntN(len(errs))]
	u.Polled = now.Add(-time.Duration(r.IntN(20)) * time.Second)
	u.StartedAt = now.Add(-time.Duration(r.IntN(40)) * time.Minute)
	if r.IntN(6) == 0 {
		u.Polled, u.StartedAt = time.Time{}, time.Time{}
	}
	u.Baselined = r.IntN(4) > 0
	for p, pv := range u.Points {
		info, _ := p.Quantity.Info()
		odd := []float64{info.Min, info.Max, info.Min + (info.Max-info.Min)*r.Float64(), healthy[p.Quantity], healthy[p.Quantity], math.NaN(), math.Inf(-1), -1e300}
		pv.Reading = collector.Reading{Point: p, Value: odd[r.IntN(len(odd))], Quality: collector.Quality(r.IntN(8) % 5), Taken: u.Polled, Age: time.Duration(r.IntN(90)) * time.Second}
		pv.Baseline, pv.Compared = nil, r.IntN(3) > 0
		if r.IntN(3) > 0 {
			pv.Baseline = &baseline.Level{Value: odd[r.IntN(len(odd))], Spread: r.Float64(), CapturedAt: onBaseDay}
			pv.Deviation = pv.Reading.Value - pv.Baseline.Value
		}
		u.Points[p] = pv
		if r.IntN(12) == 0 {
			delete(u.Points, p)
		}
	}
}

// FuzzRules: whatever a site looks like, no rule panics, every verdict has a
// well-formed key, one per resource, and explains alarms of existing types
// only.
func FuzzRules(f *testing.F) {
	for seed := range uint64(64) {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, seed uint64) {
		r := rand.New(rand.NewPCG(seed, 1))
		s := scramble(t, r)
		v := s.view()
		if r.IntN(8) == 0 {
			v.Active, v.Severity = nil, nil
		} else {
			v.Active = func(alarms.Key) bool { return r.IntN(3) == 0 }
			v.Severity = func(alarms.Key) alarms.Severity { return alarms.Severity(r.IntN(7)) }
		}
		types := map[string]bool{}
		for _, rule := range rules.All() {
			types[rule.Type().ID] = true
		}
		for _, rule := range rules.All() {
			seen := map[string]bool{}
			for _, verdict := range rule.Judge(v) {
				require.False(t, seen[verdict.Resource], "%s: %s twice", rule.Type().ID, verdict.Resource)
				seen[verdict.Resource] = true
				require.Regexp(t, resourceForm, verdict.Resource)
				require.Empty(t, verdict.Qualifier)
				own := alarms.Key{Resource: verdict.Resource, Type: rule.Type().ID}
				require.NotContains(t, verdict.Explains, own, "its own cause")
				require.True(t, verdict.Active || verdict.Explains == nil, "a clear verdict explains nothing")
				for _, k := range verdict.Explains {
					require.True(t, types[k.Type], k.Type)
					require.Regexp(t, resourceForm, k.Resource)
				}
				if verdict.Active {
					require.NotEmpty(t, verdict.Text)
				}
			}
		}
	})
}

// BenchmarkSite judges a site of ten units, five links, by all rules; once
// sound, once with its cable cut.
func BenchmarkSite(b *testing.B) {
	cut := pairs(b, 5)
	cut.dim("room-1", "room-2", "room-3", "room-4", "room-5")
	for name, s := range map[string]*scene{"sound": pairs(b, 5), "cut": cut} {
		b.Run(name, func(b *testing.B) {
			v, all := s.view(), rules.All()
			b.ReportAllocs()
			for b.Loop() {
				for _, r := range all {
					r.Judge(v)
				}
			}
		})
	}
}
