package demo_test

import (
	"context"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/collector"
	"lightwell/collector/inventory"
	"lightwell/collector/model"
	"lightwell/collector/plant"
)

// scene loads the data files of the demonstration.
func scene(t *testing.T, seed uint64) (*collector.Fleet, *plant.Plant, plant.Scenario) {
	t.Helper()
	models, err := model.Builtin()
	require.NoError(t, err)
	fleet, err := inventory.Load([]string{"fleet.yaml"}, inventory.Options{Models: models, MinPoll: time.Second, Credentials: []string{"demo-v2c", "demo-v3"}})
	require.NoError(t, err)
	p, err := plant.New(fleet, models, plant.Config{Seed: seed, Speed: 60})
	require.NoError(t, err)
	data, err := os.ReadFile("scenario.yaml")
	require.NoError(t, err)
	s, err := p.ParseScenario("scenario.yaml", data)
	require.NoError(t, err)
	return fleet, p, s
}

func TestFleetShowsAllThereIs(t *testing.T) {
	fleet, _, _ := scene(t, 1)
	require.Len(t, fleet.Sites, 12)
	require.GreaterOrEqual(t, len(fleet.Links), 40)
	models, credentials, zones, uses, perCable, perRoof := map[string]int{}, map[string]int{}, map[string]int{}, map[collector.Use]int{}, map[string]int{}, map[string]int{}
	for _, u := range fleet.Units {
		models[u.Equipment.Model]++
		credentials[u.Credentials]++
		require.Equal(t, "@every 2s", u.Poll)
	}
	for _, s := range fleet.Sites {
		zones[s.Location.String()]++
	}
	most := 0
	for _, l := range fleet.Links {
		uses[l.Use]++
		perRoof[l.Outdoor]++
		perCable[l.Downlink.Cable]++
		most = max(most, perCable[l.Downlink.Cable])
	}
	require.GreaterOrEqual(t, most, 4, "a cable that carries four links")
	for _, m := range []string{"rack-dual-supply", "compact-single-supply", "outdoor-std"} {
		require.NotZero(t, models[m], m)
	}
	require.NotZero(t, credentials["demo-v2c"])
	require.NotZero(t, credentials["demo-v3"])
	require.Len(t, uses, 2)
	require.Greater(t, len(zones), 5)
	split := map[int]bool{}
	for _, n := range perRoof {
		split[n] = true
	}
	require.Equal(t, map[int]bool{1: true, 2: true, 3: true, 4: true}, split)
}

// Whatever the seed, the plant begins well: every point has a good value,
// every state is the good one, light is within the limits of the models.
func TestEveryPlantBeginsWell(t *testing.T) {
	for seed := range uint64(10) {
		fleet, p, _ := scene(t, seed)
		for _, u := range fleet.Units {
			readings, err := p.Prober().Probe(context.Background(), u)
			require.NoError(t, err)
			for _, r := range readings {
				require.Equal(t, collector.Good, r.Quality, "seed %d: %s %s", seed, u.ID, r.Point)
				info, _ := r.Point.Quantity.Info()
				if info.States != nil {
					require.Zero(t, r.Value, "seed %d: %s %s is %s", seed, u.ID, r.Point, r.State())
				}
				if l := u.Equipment.Limits; r.Point.Quantity == collector.OpticalReceivePower {
					require.Greater(t, r.Value, *l.ReceivePowerMinDBm, "seed %d: %s", seed, u.ID)
					require.Less(t, r.Value, *l.ReceivePowerMaxDBm, "seed %d: %s", seed, u.ID)
				}
			}
		}
	}
}

// At the usual speed of 60 a minute of the plant is a second.
func TestStoryTakesThreeMinutes(t *testing.T) {
	_, _, s := scene(t, 1)
	wanted := map[string]int{"supply-lost": 1, "connector-dirty": 1, "cable-cut": 1, "management-lost": 1}
	over := 0
	for _, e := range s.Between(0, 180*time.Minute) {
		require.NotEmpty(t, e.Text, "%s %s", e.Kind, e.On)
		if e.Over {
			require.LessOrEqual(t, e.At, 165*time.Minute, e.Text)
			over++
			continue
		}
		if e.Kind != "laser-ageing" {
			require.GreaterOrEqual(t, e.At, 25*time.Minute, "baselines are accepted before")
		}
		delete(wanted, e.Kind)
	}
	require.Empty(t, wanted)
	require.Equal(t, 4, over, "each is repaired")
	require.Empty(t, s.Between(165*time.Minute, 4*time.Hour))
}

func TestLongStoryPlaysEveryKindOfFault(t *testing.T) {
	_, _, s := scene(t, 1)
	played := map[string]bool{}
	for _, e := range s.Events() {
		played[e.Kind] = true
		require.False(t, !e.Over && e.Text == "", "%s at %s has a line", e.Kind, e.On)
		require.Equal(t, strings.TrimSpace(e.Text), e.Text)
	}
	for _, k := range plant.Kinds() {
		require.True(t, played[k.Name], k.Name)
	}
}
