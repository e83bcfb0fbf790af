package collector_test

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/collector"
)

// slowUnits is a Prober whose probes take a while and which watches how many
// are under way.
type slowUnits struct {
	takes time.Duration
	err   error

	readings []collector.Reading

	mu    sync.Mutex
	now   map[string]int // under way by address, by site and in all
	worst map[string]int
}

func (s *slowUnits) Probe(ctx context.Context, u collector.Unit) ([]collector.Reading, error) {
	s.count(u, 1)
	defer s.count(u, -1)
	select {
	case <-time.After(s.takes):
		return s.readings, s.err
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

func (s *slowUnits) count(u collector.Unit, by int) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, key := range []string{u.Address, u.Site, "all"} {
		s.now[key] += by
		s.worst[key] = max(s.worst[key], s.now[key])
	}
}

func newSlowUnits(takes time.Duration) *slowUnits {
	return &slowUnits{takes: takes, now: map[string]int{}, worst: map[string]int{}}
}

func fleetOf(site string, units int, poll string) *collector.Fleet {
	f := collector.Fleet{Sites: []collector.Site{{ID: site, Location: time.UTC}}}
	for i := range units {
		id := fmt.Sprintf("%s-%d", site, i)
		f.Units = append(f.Units, collector.Unit{ID: id, Site: site, Address: id + ".example:161", Poll: poll})
	}
	return collector.NewFleet(f)
}

// collected runs a poller for a while in fake time and returns what it
// delivered.
func collected(t *testing.T, cfg collector.PollerConfig, f *collector.Fleet, run time.Duration, during func(*collector.Poller)) (*collector.Poller, []collector.Poll) {
	t.Helper()
	var mu sync.Mutex
	var polls []collector.Poll
	cfg.Sink = func(p collector.Poll) {
		mu.Lock()
		defer mu.Unlock()
		polls = append(polls, p)
	}
	p := collector.NewPoller(cfg)
	require.NoError(t, p.SetFleet(f))
	ctx, cancel := context.WithTimeout(t.Context(), run)
	defer cancel()
	if during != nil {
		go during(p)
	}
	require.NoError(t, p.Run(ctx))
	return p, polls
}

func TestPollerReadsEveryUnitOncePerPeriod(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		units := newSlowUnits(50 * time.Millisecond)
		_, polls := collected(t, collector.PollerConfig{Prober: units}, fleetOf("quay", 40, "@every 10s"), 10*time.Minute, nil)
		byUnit := map[string][]time.Time{}
		for _, p := range polls {
			byUnit[p.Unit] = append(byUnit[p.Unit], p.Started)
		}
		require.Len(t, byUnit, 40)
		for unit, at := range byUnit {
			require.InDelta(t, 60, len(at), 1, unit)
			for i := 2; i < len(at); i++ {
				require.InDelta(t, 10, at[i].Sub(at[i-1]).Seconds(), 0.5, unit)
			}
		}
	})
}

func TestPollerBeginsWithinASecondAndSpreads(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		begin := time.Now()
		_, polls := collected(t, collector.PollerConfig{Prober: newSlowUnits(time.Millisecond), PerSite: 1000}, fleetOf("quay", 100, "@every 1m"), 2*time.Minute, nil)
		require.Less(t, polls[0].Started.Sub(begin), time.Second)
		slots := map[int]int{} // polls of the second minute by 6 s
		for _, p := range polls {
			if at := p.Started.Sub(begin); at >= time.Minute {
				slots[int(at/(6*time.Second))]++
			}
		}
		require.Len(t, slots, 10)
		for slot, n := range slots {
			require.Less(t, n, 25, "slot %d is a gust", slot)
		}
	})
}

func TestPollerLimits(t *testing.T) {
	for _, tt := range []struct {
		name         string
		perSite, all int
		want         int
	}{
		{"a site's limit", 3, 100, 3},
		{"the limit in all", 100, 5, 5},
	} {
		t.Run(tt.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				units := newSlowUnits(2 * time.Second)
				p, _ := collected(t, collector.PollerConfig{Prober: units, PerSite: tt.perSite, InAll: tt.all}, fleetOf("quay", 30, "@every 10s"), time.Minute, nil)
				require.Equal(t, tt.want, units.worst["all"])
				require.Positive(t, p.Missed(), "30 units of 2 s do not fit: turns must be counted as missed")
				require.Zero(t, p.Active())
			})
		})
	}
}

func TestPollerAsksAnAddressOnceAtATime(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := fleetOf("quay", 4, "@every 2s")
		for i := range f.Units {
			f.Units[i].Address = "192.0.2.1:161"
		}
		units := newSlowUnits(time.Second)
		_, polls := collected(t, collector.PollerConfig{Prober: units}, collector.NewFleet(*f), time.Minute, nil)
		require.Equal(t, 1, units.worst["192.0.2.1:161"])
		require.InDelta(t, 58, len(polls), 2, "the address is in use all the time")
	})
}

func TestPollNow(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		_, polls := collected(t, collector.PollerConfig{Prober: newSlowUnits(time.Second)}, fleetOf("quay", 1, "@every 1h"), 20*time.Minute, func(p *collector.Poller) {
			<-time.After(10 * time.Minute) // of the bubble's time
			require.True(t, p.PollNow("quay-0"))
			<-time.After(500 * time.Millisecond)
			require.True(t, p.PollNow("quay-0"), "while the first is under way: once more")
			require.True(t, p.PollNow("nobody"))
		})
		require.GreaterOrEqual(t, len(polls), 3)
		last := polls[len(polls)-2:]
		require.InDelta(t, 1, last[1].Started.Sub(last[0].Started).Seconds(), 0.1)
	})
}

func TestPollerReload(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		begin := time.Now()
		_, polls := collected(t, collector.PollerConfig{Prober: newSlowUnits(time.Second)}, fleetOf("quay", 2, "@every 10s"), 2*time.Minute, func(p *collector.Poller) {
			<-time.After(time.Minute)
			require.Error(t, p.SetFleet(fleetOf("pier", 1, "sometimes")), "a faulty schedule leaves the fleet in force")
			require.NoError(t, p.SetFleet(fleetOf("pier", 1, "@every 10s")))
		})
		for _, p := range polls {
			early := p.Started.Before(begin.Add(time.Minute))
			require.Equal(t, early, p.Unit != "pier-0", "%s at %s", p.Unit, p.Started.Sub(begin))
		}
	})
}

func TestPollOutcomes(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		units := newSlowUnits(time.Second)
		units.err = fmt.Errorf("ask: %w", collector.ErrNoAnswer)
		units.readings = []collector.Reading{{Unit: "quay-0"}}
		_, polls := collected(t, collector.PollerConfig{Prober: units}, fleetOf("quay", 1, "@every 10s"), 15*time.Second, nil)
		require.NotEmpty(t, polls)
		require.True(t, errors.Is(polls[0].Err, collector.ErrNoAnswer))
		require.Nil(t, polls[0].Readings, "a failed poll brings no readings")
		require.Equal(t, time.Second, polls[0].Took)
		require.Equal(t, time.UTC, polls[0].Started.Location())
	})
}

func TestPollTellsARestart(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		units := &falling{}
		_, polls := collected(t, collector.PollerConfig{Prober: units}, fleetOf("quay", 1, "@every 10s"), 65*time.Second, nil)
		var restarts []int
		for i, p := range polls {
			if p.Restarted {
				restarts = append(restarts, i)
			}
		}
		require.Equal(t, []int{3}, restarts)
	})
}

// falling is a unit whose uptime starts anew at its fourth poll.
type falling struct {
	polls int
	born  time.Time
}

func (u *falling) Probe(context.Context, collector.Unit) ([]collector.Reading, error) {
	if u.polls == 0 {
		u.born = time.Now().Add(-24 * time.Hour)
	}
	if u.polls++; u.polls == 4 {
		u.born = time.Now().Add(-2 * time.Second)
	}
	return []collector.Reading{
		{Point: collector.Point{Quantity: collector.Temperature}, Value: 20},
		{Point: collector.Point{Quantity: collector.Uptime}, Value: time.Since(u.born).Seconds(), Taken: time.Now()},
	}, nil
}

func BenchmarkPoller(b *testing.B) {
	for _, units := range []int{10, 1000, 10000} {
		b.Run(fmt.Sprint(units), func(b *testing.B) {
			b.ReportAllocs()
			f := fleetOf("quay", units, "@every 1h")
			seen := make(chan struct{}, units)
			p := collector.NewPoller(collector.PollerConfig{Prober: instant{}, PerSite: 64, Sink: func(collector.Poll) { seen <- struct{}{} }})
			require.NoError(b, p.SetFleet(f))
			ctx, cancel := context.WithCancel(b.Context())
			ended := make(chan error)
			go func() { ended <- p.Run(ctx) }()
			i := 0
			for b.Loop() {
				for !p.PollNow(f.Units[i%units].ID) {
				}
				<-seen
				i++
			}
			cancel()
			go func() {
				for range seen {
				}
			}()
			require.NoError(b, <-ended)
			close(seen)
		})
	}
}

type instant struct{}

func (instant) Probe(context.Context, collector.Unit) ([]collector.Reading, error) { return nil, nil }

// halfDead is a Prober of which some units stay silent for long.
type halfDead struct {
	*slowUnits
	dead func(unit string) bool
}

func (h *halfDead) Probe(ctx context.Context, u collector.Unit) ([]collector.Reading, error) {
	if h.dead(u.ID) {
		silent := slowUnits{takes: 4 * time.Second, err: collector.ErrNoAnswer, now: map[string]int{}, worst: map[string]int{}}
		return silent.Probe(ctx, u)
	}
	return h.slowUnits.Probe(ctx, u)
}

// TestDeadUnitsDoNotSlowTheOthers: of a hundred units at a site that lets eight
// be asked at once, ninety stay silent for 4 s each. Together they would want
// 36 places, so that without a room of their own every turn would be late.
func TestDeadUnitsDoNotSlowTheOthers(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		begin := time.Now()
		units := &halfDead{slowUnits: newSlowUnits(50 * time.Millisecond), dead: func(id string) bool { return len(id) > len("quay-0") }}
		_, polls := collected(t, collector.PollerConfig{Prober: units}, fleetOf("quay", 100, "@every 10s"), 20*time.Minute, nil)
		good, bad := map[string]int{}, map[string]int{}
		for _, p := range polls {
			if p.Started.Sub(begin) < 10*time.Minute {
				continue // until the dead ones are known
			}
			if p.Err == nil {
				good[p.Unit]++
			} else {
				bad[p.Unit]++
			}
		}
		require.Len(t, good, 10)
		for unit, n := range good {
			require.InDelta(t, 60, n, 1, unit)
		}
		require.Len(t, bad, 90, "the dead ones have their turn too")
	})
}
