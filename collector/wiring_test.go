package collector_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/collector"
)

func equipment(points ...collector.Point) collector.Equipment {
	return collector.Equipment{Points: points}
}

func TestFibres(t *testing.T) {
	tx, rx := collector.OpticalTransmitPower, collector.OpticalReceivePower
	indoor := equipment(collector.Point{Quantity: tx}, collector.Point{Quantity: rx})
	f := collector.NewFleet(collector.Fleet{
		Units: []collector.Unit{
			{ID: "roof", Role: collector.Outdoor, Equipment: equipment(collector.Point{Quantity: tx}, collector.Point{Quantity: rx, Port: "2"}, collector.Point{Quantity: rx, Port: "1"})},
			{ID: "a", Role: collector.Indoor, Equipment: indoor},
			{ID: "b", Role: collector.Indoor, Equipment: indoor},
			{ID: "c", Role: collector.Indoor, Equipment: equipment(collector.Point{Quantity: collector.OpticalReceiveState, Port: "main"})},
		},
		Links: []collector.Link{
			{ID: "one", Outdoor: "roof", Indoor: "a", Downlink: collector.Path{Strand: 1}, Uplink: collector.Path{Strand: 2}},
			{ID: "two", Outdoor: "roof", Indoor: "b"},
			{ID: "three", Outdoor: "roof", Indoor: "c"},
		},
	})
	port := func(unit, name string, links int) collector.Port {
		return collector.Port{Unit: unit, Port: name, Links: links}
	}
	for _, c := range []struct {
		link             string
		sky, room        collector.Port // of the downlink
		sends, hearsRoom collector.Port // of the uplink
	}{
		{"one", port("roof", "", 3), port("a", "", 1), port("a", "", 1), port("roof", "1", 1)},
		{"two", port("roof", "", 3), port("b", "", 1), port("b", "", 1), port("roof", "2", 2)},
		{"three", port("roof", "", 3), port("c", "main", 1), port("c", "", 1), port("roof", "2", 2)},
	} {
		l, ok := f.Link(c.link)
		require.True(t, ok)
		down, up := f.Fibres(l)[0], f.Fibres(l)[1]
		require.Equal(t, collector.Fibre{Name: "downlink", Path: l.Downlink, From: c.sky, To: c.room}, down, c.link)
		require.Equal(t, collector.Fibre{Name: "uplink", Path: l.Uplink, From: c.sends, To: c.hearsRoom}, up, c.link)
		require.Equal(t, collector.Point{Quantity: rx, Port: c.room.Port}, down.Receiver())
		require.Equal(t, collector.Point{Quantity: tx, Port: c.sends.Port}, up.Transmitter())
	}
}

func TestFibresOfUnknownUnits(t *testing.T) {
	f := collector.NewFleet(collector.Fleet{})
	down := f.Fibres(collector.Link{ID: "x", Outdoor: "nowhere", Indoor: "never"})[0]
	require.Equal(t, collector.Port{Unit: "nowhere", Links: 1}, down.From)
}
