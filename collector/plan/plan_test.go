package plan_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/collector"
	"lightwell/collector/budget"
	"lightwell/collector/plan"
)

func ptr[T any](v T) *T { return &v }

// kind is a kind of equipment whose noise is that of a published fibre
// transmitter ("manual A", 1.5 GHz): 23.58, 33.28 and 50.18 dB at 0, 8, 17 dB.
var kind = collector.Equipment{
	Points: []collector.Point{{Quantity: collector.OpticalTransmitPower}, {Quantity: collector.OpticalReceivePower}},
	Limits: collector.Limits{ReceivePowerMinDBm: ptr(-12.0), ReceivePowerMaxDBm: ptr(3.0)},
	Optics: collector.Optics{
		TransmitPowerDBm: ptr(1.0), TransmitSpreadDB: 0.4, GainDB: ptr(17.0), MonitorErrorDB: 1, AGCReserveDB: ptr(30.0),
		Noise: []collector.NoisePoint{{LossDB: 0, NoiseFigureDB: 23.58}, {LossDB: 8, NoiseFigureDB: 33.28}, {LossDB: 17, NoiseFigureDB: 50.18}},
	},
}

var rf = collector.RF{GainBeforeLaserDB: 30, NoiseFigureBeforeLaserDB: 1.5, AntennaNoiseK: 130, CarrierDBW: -155, CN0MinDBHz: 40}

// half is half a kilometre with four connector pairs and two splices.
func half(from, to collector.Equipment) plan.Direction {
	one := collector.Port{Links: 1}
	return plan.New(collector.Fibre{Name: "downlink", Path: collector.Path{Connectors: 4, Splices: 2}, From: one, To: one}, 500, from, to, &rf)
}

func TestLossAndLight(t *testing.T) {
	d := half(kind, kind)
	require.InDelta(t, 1.275, float64(d.Mean()), 0.001, "calc: ITU-T G.652 Appendix I.1")
	require.InDelta(t, 2.007, float64(d.Most()), 0.002, "calc: mean + 3 sd, ITU-T G.957 clause 8.3")
	require.InDelta(t, 3.85, float64(d.Worst()), 0.001, "calc: TIA-568 maxima (reprint)")
	r, ok := d.Receive()
	require.True(t, ok)
	require.InDelta(t, -0.275, r.Mean.Float(), 0.001)
	require.InDelta(t, math.Hypot(0.2439, 0.4), float64(r.SD), 0.001)
	require.InDelta(t, -0.275-3*float64(r.SD), r.Low.Float(), 0.001)
	require.InDelta(t, 1-3.85-1.2, r.Worst.Float(), 0.001)
	gain, ok := d.Gain(10)
	require.True(t, ok)
	require.Equal(t, budget.DB(-3), gain, "two to one")
}

func TestUnknownStaysUnknown(t *testing.T) {
	d := half(collector.Equipment{}, collector.Equipment{})
	_, ok := d.Receive()
	require.False(t, ok)
	_, ok = d.Gain(0)
	require.False(t, ok)
	_, ok = d.TooBright()
	require.False(t, ok)
	require.False(t, d.Radio())
	fails := d.Fails(d.Planned())
	require.False(t, fails.Bounded())
	require.True(t, math.IsInf(fails.Loss.Low, 1))
}

// TestFails: each of the three limits ends the service when it is the least.
func TestFails(t *testing.T) {
	for _, c := range []struct {
		name string
		set  func(*collector.Equipment)
		want float64
		by   plan.Cause
	}{
		{"C/N0", func(*collector.Equipment) {}, 10.94, plan.ByNoise}, // calc: closed solution, gain 30, C/N0 40
		{"gain control", func(e *collector.Equipment) { e.Optics.AGCReserveDB = ptr(8.0) }, 1.275 + 4, plan.ByControl},
		{"light", func(e *collector.Equipment) { e.Limits.ReceivePowerMinDBm = ptr(-7.0) }, 8, plan.ByReceiver},
		{"no gain control", func(e *collector.Equipment) { e.Optics.AGCReserveDB = nil; e.Limits.ReceivePowerMinDBm = nil }, 10.94, plan.ByNoise},
		{"no noise", func(e *collector.Equipment) { e.Optics.Noise = nil }, 13, plan.ByReceiver},
	} {
		e := kind
		c.set(&e)
		d := half(e, e)
		fails := d.Fails(d.Planned())
		require.Equal(t, c.by, fails.By, c.name)
		require.InDelta(t, c.want, fails.Loss.Middle, 0.15, c.name)
		require.True(t, fails.Loss.Exact())
	}
}

func TestBears(t *testing.T) {
	d := half(kind, kind)
	loss, by, ok := d.Bears()
	require.True(t, ok)
	require.Equal(t, plan.ByNoise, by)
	require.InDelta(t, 10.94-1.275, float64(loss), 0.15)
	for name, e := range map[string]collector.Equipment{
		"no end":   {},
		"hopeless": {Optics: collector.Optics{Noise: []collector.NoisePoint{{LossDB: 0, NoiseFigureDB: 90}}}},
	} {
		d = half(e, collector.Equipment{})
		_, _, ok = d.Bears()
		require.False(t, ok, name)
	}
}

func TestOneNoiseFigureGivesARange(t *testing.T) {
	e := kind
	e.Optics.Noise = []collector.NoisePoint{{LossDB: 3, NoiseFigureDB: 26}}
	d := half(e, e)
	fails := d.Fails(d.Planned())
	require.False(t, fails.Loss.Exact())
	require.Less(t, fails.Loss.Low, fails.Loss.Middle)
	require.InDelta(t, 13, fails.Loss.High, 0.001, "noise need not end it, the receiver does")
}

func TestTooBright(t *testing.T) {
	e := kind
	e.Limits.ReceivePowerMaxDBm = ptr(0.0)
	d := half(kind, e)
	over, yes := d.TooBright()
	require.True(t, yes)
	r, _ := d.Receive()
	require.InDelta(t, -0.275+3*float64(r.SD), float64(over), 0.001)
	d = half(kind, kind)
	_, yes = d.TooBright()
	require.False(t, yes)
}

func TestOf(t *testing.T) {
	l := func(id, indoor string, rf *collector.RF) collector.Link {
		path := collector.Path{Cable: "riser", WavelengthNM: 1550, Connectors: 2}
		return collector.Link{ID: id, Outdoor: "roof", Indoor: indoor, Downlink: path, Uplink: path, RF: rf}
	}
	f := collector.NewFleet(collector.Fleet{
		Cables: []collector.Cable{{ID: "riser", LengthM: 1000}},
		Units:  []collector.Unit{{ID: "roof", Equipment: kind}, {ID: "a", Equipment: kind}, {ID: "b", Equipment: collector.Equipment{}}},
		Links:  []collector.Link{l("one", "a", &rf), l("two", "b", nil)},
	})
	p := plan.Of(f, f.Links[0])
	down, up := &p.Directions[0], &p.Directions[1]
	require.InDelta(t, 0.2+2*0.25+3.01, float64(down.Mean()), 0.001, "a splitter of two ways")
	require.InDelta(t, float64(down.Mean()), float64(up.Mean()), 0.001, "and a combiner")
	require.True(t, down.Radio())
	require.False(t, up.Radio(), "the radio plan is of the way from the sky")
	require.Equal(t, "uplink", up.Name)
	p = plan.Of(f, f.Links[1])
	require.False(t, p.Directions[0].Radio())
}

func BenchmarkOf(b *testing.B) {
	f := collector.NewFleet(collector.Fleet{
		Units: []collector.Unit{{ID: "roof", Equipment: kind}, {ID: "a", Equipment: kind}},
		Links: []collector.Link{{ID: "one", Outdoor: "roof", Indoor: "a", RF: &rf}},
	})
	b.ReportAllocs()
	for b.Loop() {
		p := plan.Of(f, f.Links[0])
		p.Directions[0].Fails(p.Directions[0].Planned())
	}
}
