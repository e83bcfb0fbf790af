package diagnosis_test

import (
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/collector/model"
	"lightwell/collector/plant"
)

// TestTwoFaultsAtOnce: two causes whose signs overlap are found as two.
func TestTwoFaultsAtOnce(t *testing.T) {
	models, err := model.Builtin()
	require.NoError(t, err)
	pairs := [][2]plant.Fault{
		{{Kind: "connector-dirty", Link: "l1", Size: 2.5}, {Kind: "slope-loss", Unit: "o1", Size: 30}},
		{{Kind: "connector-dirty", Link: "l1", Size: 2}, {Kind: "antenna-obstructed", Unit: "o1", Size: 8}},
		{{Kind: "connector-dirty", Link: "l1", Size: 3}, {Kind: "supply-lost", Unit: "i1", Port: "a"}},
		{{Kind: "connector-dirty", Link: "l1", Size: 2}, {Kind: "interference", Unit: "o1", Size: 12}},
		{{Kind: "fibre-bend", Link: "l1", Size: 1.5}, {Kind: "water-in-coax", Unit: "o1", Size: 8}},
		{{Kind: "fibre-open", Link: "l1", Direction: "uplink"}, {Kind: "antenna-feed-open", Unit: "o1"}},
		{{Kind: "laser-failed", Unit: "i1"}, {Kind: "connector-dirty", Link: "l1", Size: 2}},
		{{Kind: "management-lost", Unit: "i2"}, {Kind: "connector-dirty", Link: "l1", Size: 2}},
		{{Kind: "agent-restart", Unit: "o1"}, {Kind: "connector-dirty", Link: "l1", Direction: "uplink", Size: 2}},
		{{Kind: "cable-cut", Cable: "c1"}, {Kind: "connector-dirty", Link: "l4", Size: 2}},
	}
	names := map[string]string{"antenna-feed-open": "antenna-feed-fault"}
	const rounds = 6
	both, all := 0, 0
	for i, pair := range pairs {
		for n := range rounds {
			d := draw{rand.New(rand.NewPCG(uint64(i), uint64(n)))}
			tr := d.step()
			tr.layout.links, tr.layout.cables, tr.missing, tr.gap = 4, 2, 0, time.Hour
			tr.watched = 45 * time.Minute // water takes twenty minutes to come
			tr.faults = pair[:]
			found := tr.play(t, models)
			all++
			has := func(f plant.Fault) bool {
				want := f.Kind
				if name, ok := names[want]; ok {
					want = name
				}
				return slices.ContainsFunc(found, func(f alarms.Finding) bool { return f.Cause == want })
			}
			if has(pair[0]) && has(pair[1]) {
				both++
			} else {
				t.Logf("%+v\n%s", pair, describe(found))
			}
		}
	}
	t.Logf("both of two found: %d of %d", both, all)
	require.GreaterOrEqual(t, float64(both), 0.85*float64(all))
}

// TestManySoundLinks: many links are many chances for noise to look like a
// cause.
func TestManySoundLinks(t *testing.T) {
	models, err := model.Builtin()
	require.NoError(t, err)
	for n := range 3 {
		tr := trial{
			layout: layout{links: 40, cables: 2, indoor: "rack-dual-supply", down: 1310, up: 1550, via: n == 1},
			every:  time.Minute, watched: 10 * time.Minute, gap: time.Duration(n*70) * 24 * time.Hour, noise: 0.5, seed: uint64(n),
		}
		found := tr.play(t, models)
		require.Empty(t, found, describe(found))
	}
}

// TestSharedReceiver: four room units are heard by one receiver of a roof unit
// through a combiner. One fibre less is a part of the light less.
func TestSharedReceiver(t *testing.T) {
	models, err := model.Builtin()
	require.NoError(t, err)
	tr := trial{
		layout: layout{links: 4, cables: 1, indoor: "rack-dual-supply", down: 1310, up: 1310, shared: true, via: true},
		every:  time.Minute, watched: 10 * time.Minute, faults: []plant.Fault{{Kind: "laser-failed", Unit: "i2"}}, seed: 3,
	}
	found := tr.play(t, models)
	require.NotEmpty(t, found)
	require.Equal(t, "laser-failed", found[0].Cause, describe(found))
	require.Equal(t, "unit/i2", found[0].Resource)
	require.Len(t, found, 1, "that the roof hears less follows from it: %s", describe(found))
}
