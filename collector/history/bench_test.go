package history_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/collector"
	"lightwell/collector/history"
)

// points24 are 24 points of one unit.
func points24() []collector.Point {
	var out []collector.Point
	for _, port := range []string{"", "b"} {
		for _, q := range collector.Quantities()[:12] {
			out = append(out, collector.Point{Quantity: q.Quantity, Port: port})
		}
	}
	return out
}

// fleetPolls returns a round of polls of units with 24 points each.
func fleetPolls(units int, at time.Time, round int) []collector.Poll {
	polls := make([]collector.Poll, units)
	points := points24()
	for u := range polls {
		p := collector.Poll{Unit: fmt.Sprintf("unit-%d", u+1), Readings: make([]collector.Reading, len(points))}
		for i, point := range points {
			value := -3 + float64((round*7+u*3+i)%40)/100 // 0.01 dB steps
			p.Readings[i] = collector.Reading{Unit: p.Unit, Point: point, Value: value, Taken: at}
		}
		polls[u] = p
	}
	return polls
}

// One round of 2,000 units with 24 points: 48,000 readings, in polls of 512
// at most as Run writes them.
func BenchmarkWrite(b *testing.B) {
	s := open(b, b.TempDir())
	at := time.Now().Add(-10 * 24 * time.Hour)
	round := 0
	b.ReportAllocs()
	for b.Loop() {
		polls := fleetPolls(2000, at, round)
		for i := 0; i < len(polls); i += 512 {
			require.NoError(b, s.Write(polls[i:min(i+512, len(polls))]...))
		}
		at, round = at.Add(time.Minute), round+1
	}
	b.ReportMetric(float64(s.Stats().Written)/b.Elapsed().Seconds(), "readings/s")
}

// A single poll of 24 points at a time.
func BenchmarkWritePoll(b *testing.B) {
	s := open(b, b.TempDir())
	at := time.Now().Add(-10 * 24 * time.Hour)
	p := fleetPolls(1, at, 0)
	b.ReportAllocs()
	for b.Loop() {
		at = at.Add(time.Second)
		for i := range p[0].Readings {
			p[0].Readings[i].Taken = at
		}
		require.NoError(b, s.Write(p...))
	}
}

// One unit's 24 points over a year of hours, all four sums; and over a day,
// every reading.
func BenchmarkQuery(b *testing.B) {
	s := open(b, b.TempDir())
	end := time.Now().UTC().Truncate(time.Hour)
	begin := end.AddDate(-1, 0, 0)
	require.NoError(b, s.FillHours("unit-3", points24(), begin, end, func(i int) float64 { return -3 + float64(i*7%40)/100 }))
	for at := end.Add(-24 * time.Hour); at.Before(end); at = at.Add(time.Minute) {
		require.NoError(b, s.Write(fleetPolls(5, at, int(at.Unix()/60))...))
	}
	for name, q := range map[string]history.Query{
		"a year of hours":         {From: begin, To: end, Step: time.Hour},
		"a year of days":          {From: begin, To: end, Step: 24 * time.Hour},
		"a day, every reading":    {From: end.Add(-24 * time.Hour), To: end},
		"a day of ten minutes":    {From: end.Add(-24 * time.Hour), To: end, Step: 10 * time.Minute},
		"one point, year of days": {From: begin, To: end, Step: 24 * time.Hour, Points: []collector.Point{light}},
	} {
		q.Unit = "unit-3"
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			n := 0
			for b.Loop() {
				got, err := s.Query(b.Context(), q)
				require.NoError(b, err)
				n = 0
				for _, series := range got {
					n += len(series.Samples)
				}
			}
			b.ReportMetric(float64(n), "samples")
		})
	}
}
