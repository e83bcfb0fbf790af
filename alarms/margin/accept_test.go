package margin_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/alarms/baseline"
	"lightwell/alarms/margin"
	"lightwell/collector"
)

// measured are the levels of a capture: unit and point to dBm.
type measured map[string]map[collector.Point]float64

func (m measured) levels(unit string, p collector.Point) (baseline.Level, bool) {
	v, ok := m[unit][p]
	return baseline.Level{Value: v}, ok
}

// pair are both ends, with what arrives at the room and at the roof.
func pair(room, roof float64) measured {
	return measured{"roof": {tx: 0, rx: roof}, "room": {tx: 0, rx: room}}
}

func (s *site) accept(m measured) [2]margin.Acceptance {
	return margin.Accept(s.fleet, s.link, m.levels)
}

// TestVerdicts: 1.275 dB planned, at most 2.007; monitors may be off by 1 dB
// each, so what is wrong for sure begins at 4.007 dB.
func TestVerdicts(t *testing.T) {
	s := newSite(t, nil)
	for _, c := range []struct {
		room float64
		want margin.Verdict
	}{
		{-1.3, margin.AsPlanned}, {-2, margin.AsPlanned}, {-2.1, margin.Doubtful}, {-4, margin.Doubtful}, {-4.1, margin.TooMuch},
		{1, margin.AsPlanned}, {1.6, margin.TooLittle}, {-35, margin.Dark},
	} {
		a := s.accept(pair(c.room, -1.3))
		require.Equal(t, c.want, a[0].Verdict, c.room)
		require.Equal(t, margin.AsPlanned, a[1].Verdict)
		require.InDelta(t, 2.007, a[0].Most, 0.002)
		require.True(t, !a[0].Known || a[0].Band == 2)
	}
	a := s.accept(pair(-1.3, -1.3))[0]
	require.True(t, a.Known)
	require.InDelta(t, 1.3, a.Measured, 1e-9)
	require.Equal(t, []string{"nq", "downlink", "roof", "room"}, []string{a.Link, a.Direction, a.From, a.To})
}

func TestMonitorErrorIsOfTheModel(t *testing.T) {
	s := newSite(t, func(e *collector.Equipment, _ *collector.Link) { e.Optics.MonitorErrorDB = 3 })
	require.Equal(t, margin.Doubtful, s.accept(pair(-7.9, -1.3))[0].Verdict, "2.0 and twice 3 dB, as SFF-8472 allows")
	require.Equal(t, margin.TooMuch, s.accept(pair(-8.1, -1.3))[0].Verdict)
}

func TestAUnitThatIsNotCapturedTransmitsAsItsModel(t *testing.T) {
	s := newSite(t, nil)
	m := measured{"room": {tx: 0, rx: -6}}
	a := s.accept(m)
	require.True(t, a[0].Assumed)
	require.InDelta(t, 1+3*0.5, a[0].Band, 1e-9, "one monitor, and the spread between lasers")
	require.Equal(t, margin.TooMuch, a[0].Verdict)
	require.Equal(t, margin.Unknown, a[1].Verdict)
	remarks := margin.Check(s.fleet, "room", m.levels)
	require.Len(t, remarks, 1)
	require.Contains(t, remarks[0].Text, "capture the far unit too")
	s = newSite(t, func(e *collector.Equipment, _ *collector.Link) { e.Optics.TransmitPowerDBm = nil })
	require.Equal(t, margin.Unknown, s.accept(m)[0].Verdict)
}

// TestReasons follows the signatures of faults after work at a fibre.
func TestReasons(t *testing.T) {
	for _, c := range []struct {
		name       string
		room, roof float64
		unit       string
		grave      bool
		says       []string // parts of the one remark; nil: none
	}{
		{"as planned", -1.3, -1.5, "room", false, nil},
		{"the other direction's unit says it", -7, -1.3, "roof", false, nil},
		{"dirty connector", -4.2, -1.3, "room", true, []string{"downlink of link nq, from roof to room, loses 4.2 dB: 2.2 dB more than the plan allows (2.0 dB, mean 1.3 + 3 sd)", "wrong by 2.0 dB", "likely a dirty or loose connector", "never look into it"}},
		{"wrong polish", -6.5, -1.3, "room", true, []string{"flat (PC) plug in an angled (APC) adaptor", "multimode jumper"}},
		{"uplink", -1.3, -6.5, "roof", true, []string{"uplink of link nq, from room to roof"}},
		{"not seated", -14, -1.3, "room", true, []string{"not seated, or a broken fibre"}},
		{"wrong fibre", -7, -8.4, "room", true, []string{"both directions alike", "wrong fibre or wrong jumpers", "bend"}},
		{"doubtful", -3, -1.3, "room", false, []string{"1.0 dB more than the plan allows", "measure with a power meter", "never look into it"}},
		{"too little", 2, -1.3, "room", false, []string{"less than such a fibre can"}},
		{"crossed", -45, -45, "room", true, []string{"very likely the pair is crossed", "swap the two plugs at one end only", "never look into it"}},
		{"one dark", -45, -1.3, "room", false, nil}, // the capture itself refuses the dark end
	} {
		s := newSite(t, nil)
		remarks := margin.Check(s.fleet, c.unit, pair(c.room, c.roof).levels)
		if c.says == nil {
			require.Empty(t, remarks, c.name)
			continue
		}
		require.Len(t, remarks, 1, c.name)
		require.Equal(t, c.grave, remarks[0].Grave, c.name)
		for _, part := range c.says {
			require.Contains(t, remarks[0].Text, part, c.name)
		}
	}
}

func TestBothDarkWithoutLightIsNotCrossed(t *testing.T) {
	s := newSite(t, nil)
	m := measured{"roof": {tx: -45, rx: -45}, "room": {tx: 0, rx: -45}}
	require.Empty(t, margin.Check(s.fleet, "room", m.levels))
	require.Equal(t, margin.Dark, s.accept(m)[0].Verdict)
	m = measured{"roof": {tx: -45, rx: -1.3}, "room": {tx: 0, rx: -2}}
	require.Equal(t, margin.Unknown, s.accept(m)[0].Verdict, "light without a transmitter is no loss")
}

func TestTextsAreOfOnePiece(t *testing.T) {
	s := newSite(t, nil)
	for room := -20.0; room < 4; room += 0.5 {
		for _, r := range margin.Check(s.fleet, "room", pair(room, -1.3).levels) {
			require.False(t, strings.Contains(r.Text, "%!") || strings.Contains(r.Text, "NaN"), r.Text)
		}
	}
}
