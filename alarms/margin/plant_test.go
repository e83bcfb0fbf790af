package margin_test

import (
	"fmt"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms/baseline"
	"lightwell/alarms/margin"
	"lightwell/collector"
	"lightwell/collector/model"
	"lightwell/collector/plant"
)

// commissioned is a simulated site of n pairs whose captures have run. Faults
// were there before: nobody has seen the site sound. Monitors of the plant are
// off by up to a decibel each, as the models say.
type commissionedSite struct {
	fleet *collector.Fleet
	book  *baseline.Book
}

func commissioned(t *testing.T, seed uint64, n int, faults ...plant.Fault) commissionedSite {
	models, err := model.Builtin()
	require.NoError(t, err)
	f := collector.Fleet{Sites: []collector.Site{{ID: "quay", Location: time.UTC}}, Cables: []collector.Cable{{ID: "riser", Site: "quay", LengthM: 300}}}
	for i := 1; i <= n; i++ {
		roof, room := fmt.Sprintf("roof-%d", i), fmt.Sprintf("room-%d", i)
		for id, name := range map[string]string{roof: "outdoor-std", room: "rack-dual-supply"} {
			m, ok := models.Model(name)
			require.True(t, ok)
			u := collector.Unit{ID: id, Site: "quay", Role: m.Roles[0], Equipment: m.Equipment}
			if id == roof {
				u.Via = room
			}
			f.Units = append(f.Units, u)
		}
		path := collector.Path{Cable: "riser", Strand: 2*i - 1, WavelengthNM: 1310, Connectors: 4, Splices: 2}
		back := path
		back.Strand++
		f.Links = append(f.Links, collector.Link{ID: fmt.Sprintf("l%d", i), Outdoor: roof, Indoor: room, Use: collector.Repeater, Downlink: path, Uplink: back})
	}
	s := commissionedSite{fleet: collector.NewFleet(f)}
	p, err := plant.New(s.fleet, models, plant.Config{Seed: seed, Start: time.Now()})
	require.NoError(t, err)
	for _, fault := range faults {
		_, err := p.Inject(fault, p.PlantTime(time.Now()))
		require.NoError(t, err)
	}
	<-time.After(3 * time.Minute) // what was read before goes stale
	cfg := baseline.Default()
	cfg.Plan = margin.Check
	s.book, err = baseline.NewBook(&baseline.Memory{}, cfg)
	require.NoError(t, err)
	s.book.SetFleet(s.fleet)
	var ids []string
	for _, u := range s.fleet.Units {
		ids = append(ids, u.ID)
	}
	require.NoError(t, s.book.Begin(ids, "anna", time.Now()))
	for range 12 {
		<-time.After(30 * time.Second)
		for _, u := range s.fleet.Units {
			poll := collector.Poll{Unit: u.ID, Started: time.Now()}
			poll.Readings, poll.Err = p.Prober().Probe(t.Context(), u)
			s.book.Observe(poll)
		}
	}
	return s
}

// TestSoundPlantsAreAccepted: of 400 sound directions none is refused.
func TestSoundPlantsAreAccepted(t *testing.T) {
	for seed := range uint64(20) {
		synctest.Test(t, func(t *testing.T) {
			s := commissioned(t, seed, 10)
			for _, u := range s.fleet.Units {
				shown := s.book.Show(u.ID, time.Now())
				require.True(t, shown.Ready, "seed %d: %v", seed, shown.Reasons)
			}
		})
	}
}

// TestBadFromTheFirstDay: faults that are there before anybody has measured
// are found by the plan alone.
func TestBadFromTheFirstDay(t *testing.T) {
	for _, c := range []struct {
		fault plant.Fault
		unit  string // at whose receiver it shows
		says  string
	}{
		{plant.Fault{Kind: "connector-dirty", Link: "l1", Size: 5}, "room-1", "a dirty connector"},
		{plant.Fault{Kind: "polish-mismatch", Link: "l1", Size: 6}, "room-1", "flat (PC) plug in an angled (APC) adaptor"},
		{plant.Fault{Kind: "fibre-bend", Link: "l1", Size: 6}, "room-1", "a bend or a squeezed cable"},
		{plant.Fault{Kind: "pair-crossed", Link: "l1"}, "room-1", "possibly the pair is crossed"},
	} {
		for seed := range uint64(5) {
			t.Run(fmt.Sprint(c.fault.Kind, seed), func(t *testing.T) {
				synctest.Test(t, func(t *testing.T) {
					s := commissioned(t, seed, 2, c.fault)
					shown := s.book.Show(c.unit, time.Now())
					require.False(t, shown.Ready)
					require.Contains(t, fmt.Sprint(shown.Reasons), c.says)
					require.ErrorIs(t, s.book.Accept([]string{c.unit}, "anna", "", false, time.Now()), baseline.ErrNotReady)
					require.NoError(t, s.book.Accept([]string{c.unit}, "anna", "the lift is out of order", true, time.Now()))
					require.Contains(t, fmt.Sprint(s.book.History(c.unit)[0].Findings), c.says)
					require.True(t, s.book.Show("room-2", time.Now()).Ready, "the neighbour is sound")
				})
			})
		}
	}
}
