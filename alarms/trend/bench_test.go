package trend_test

import (
	"fmt"
	"runtime"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms/trend"
	"lightwell/collector"
)

// bigFleet returns n sites of a roof and a room unit with 24 points each.
func bigFleet(n int) *collector.Fleet {
	kind := collector.Equipment{Model: "pair", Points: []collector.Point{rx, tx, bias, temp, up}}
	for i := range 19 {
		kind.Points = append(kind.Points, collector.Point{Quantity: collector.SupplyVoltage, Port: fmt.Sprint(i)})
	}
	var f collector.Fleet
	for i := range n {
		site, roof, room := fmt.Sprintf("s%d", i), fmt.Sprintf("roof%d", i), fmt.Sprintf("room%d", i)
		f.Sites = append(f.Sites, collector.Site{ID: site, Location: time.UTC})
		f.Units = append(f.Units,
			collector.Unit{ID: roof, Site: site, Role: collector.Outdoor, Via: room, Equipment: kind},
			collector.Unit{ID: room, Site: site, Role: collector.Indoor, Equipment: kind})
		f.Links = append(f.Links, collector.Link{ID: "l" + site, Outdoor: roof, Indoor: room})
	}
	return collector.NewFleet(f)
}

// polls24 are polls of both units of a site at a time, with 24 readings each.
func polls24(f *collector.Fleet, n int) []collector.Poll {
	var out []collector.Poll
	for i := range n {
		for _, u := range []string{fmt.Sprintf("roof%d", i), fmt.Sprintf("room%d", i)} {
			unit, _ := f.Unit(u)
			p := collector.Poll{Unit: u}
			for k, pt := range unit.Equipment.Points {
				p.Readings = append(p.Readings, collector.Reading{Unit: u, Point: pt, Value: []float64{-4, 3, 20, 25, 1e6}[min(k, 4)]})
			}
			out = append(out, p)
		}
	}
	return out
}

// BenchmarkObserve is one poll of a unit with 24 points, of which two optical
// powers and a laser bias are followed; every minute of months.
func BenchmarkObserve(b *testing.B) {
	for _, sites := range []int{1, 1000} {
		b.Run(fmt.Sprintf("%d units", 2*sites), func(b *testing.B) {
			f := bigFleet(sites)
			k, err := trend.New(trend.Config{Baselines: accepted(start)})
			require.NoError(b, err)
			k.SetFleet(f)
			polls, at, i := polls24(f, sites), start, 0
			b.ReportAllocs()
			for b.Loop() {
				p := &polls[i]
				p.Started = at
				k.Observe(*p)
				if i++; i == len(polls) {
					i, at = 0, at.Add(time.Minute)
				}
			}
		})
	}
}

// BenchmarkMemory prints what a unit costs: two optical powers, a laser bias
// and its thermometer, with what others see of them.
func BenchmarkMemory(b *testing.B) {
	const sites = 20_000
	f := bigFleet(sites)
	polls := polls24(f, sites)
	for b.Loop() {
		var before, after runtime.MemStats
		runtime.GC()
		runtime.ReadMemStats(&before)
		k, err := trend.New(trend.Config{})
		require.NoError(b, err)
		k.SetFleet(f)
		for day := range 16 {
			for hour := range 24 {
				for i := range polls {
					polls[i].Started = start.Add(time.Duration(24*day+hour) * time.Hour)
					k.Observe(polls[i])
				}
			}
		}
		runtime.GC()
		runtime.ReadMemStats(&after)
		b.ReportMetric(float64(after.HeapAlloc-before.HeapAlloc)/(2*sites), "B/unit")
		runtime.KeepAlive(k)
	}
}
