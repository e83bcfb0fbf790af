package visit_test

import (
	"context"
	"errors"
	"flag"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/visit"
	"lightwell/collector"
	"lightwell/collector/history"
)

var update = flag.Bool("update", false, "rewrite the golden files")

func TestCompare(t *testing.T) {
	bias := collector.Point{Quantity: collector.LaserBias}
	volts := collector.Point{Quantity: collector.SupplyVoltage}
	gain := collector.Point{Quantity: collector.AGCAttenuation}
	heater := collector.Point{Quantity: collector.HeaterState}
	base := func(v float64) *float64 { return &v }
	for _, c := range []struct {
		name          string
		point         collector.Point
		before, after float64
		spread        float64
		count         int
		baseline      *float64
		want          visit.Verdict
		off           bool
	}{
		{"light as before", light, -3, -3.25, 0.02, 20, nil, visit.Same, false},
		{"light back", light, -6, -3, 0.02, 20, base(-3.1), visit.Better, false},
		{"light lost", light, -3, -4, 0.02, 20, base(-3), visit.Worse, true},
		{"light from the dark", light, -40, -3, 0.02, 20, base(-3), visit.Better, false},
		{"a noisy monitor, one reading", light, -3, -4, 0.3, 1, nil, visit.Same, false},
		{"the same, twenty readings", light, -3, -4, 0.3, 20, nil, visit.Worse, false},
		{"RF within its wander", level, -40, -40.9, 0.1, 20, nil, visit.Same, false},
		{"RF up", level, -40, -36, 0.1, 20, nil, visit.Better, false},
		{"bias up is worse", bias, 30, 31, 0.05, 20, nil, visit.Worse, false},
		{"bias down is better", bias, 30, 29, 0.05, 20, nil, visit.Better, false},
		{"voltage nearer to its baseline", volts, 11, 11.9, 0.01, 20, base(12), visit.Better, false},
		{"voltage away from it", volts, 12, 13, 0.01, 20, base(12), visit.Worse, true},
		{"voltage without one", volts, 12, 13, 0.01, 20, nil, visit.Moved, false},
		{"gain control has no bad way", gain, 5, 8, 0.1, 20, nil, visit.Moved, false},
		{"supply back", mains, 1, 0, 0, 1, nil, visit.Better, false},
		{"supply pulled", mains, 0, 2, 0, 1, nil, visit.Worse, false},
		{"supply as before", mains, 0, 0, 0, 1, nil, visit.Same, false},
		{"heater on", heater, 0, 1, 0, 1, nil, visit.Moved, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			of := func(v float64) []visit.Level {
				return []visit.Level{{Unit: "room", Point: c.point, Value: v, Spread: c.spread, Count: c.count, Baseline: c.baseline}}
			}
			lines := visit.Compare(of(c.before), of(c.after))
			require.Len(t, lines, 1)
			require.Equal(t, c.want, lines[0].Verdict)
			require.Equal(t, c.off, lines[0].Off)
			if info, _ := c.point.Quantity.Info(); info.States == nil {
				require.InDelta(t, c.after-c.before, *lines[0].Change, 1e-9)
				require.Equal(t, math.Abs(c.after-c.before) <= lines[0].Noise, c.want == visit.Same)
			} else {
				require.Nil(t, lines[0].Change)
				require.NotEmpty(t, lines[0].AfterState)
			}
		})
	}
	lines := visit.Compare([]visit.Level{{Unit: "b", Point: light}}, []visit.Level{{Unit: "a", Point: light}})
	require.Equal(t, []visit.Verdict{visit.Appeared, visit.Gone}, []visit.Verdict{lines[0].Verdict, lines[1].Verdict})
}

// past is a history that a test writes.
type past map[string][]history.Sample

func (p past) Query(_ context.Context, q history.Query) ([]history.Series, error) {
	if p == nil {
		return nil, errors.New("away")
	}
	var out []history.Sample
	for _, s := range p[q.Unit] {
		if !s.Time.Before(q.From) && s.Time.Before(q.To) {
			out = append(out, s)
		}
	}
	return []history.Series{{Point: light, Samples: out}}, nil
}

// TestLevelsAreMedians: of what the history has around begin and end; without
// it the last reading counts.
func TestLevelsAreMedians(t *testing.T) {
	h := past{}
	for i := -60; i < 120; i++ { // a reading a minute; the plug is out in between, one of five is garbage
		v := -6.0
		switch {
		case i >= 0 && i < 60:
			v = -40
		case i >= 60:
			v = -3
		}
		if i%5 == 0 {
			v += 0.5
		}
		h["room"] = append(h["room"], history.Sample{Time: noon.Add(time.Duration(i) * time.Minute), Value: v, Count: 1})
	}
	for name, source := range map[string]history.Source{"history": h, "history away": past(nil), "none": nil} {
		t.Run(name, func(t *testing.T) {
			s := newScene(t, noon)
			s.past = source
			require.NoError(t, s.state.Close())
			s.open(noon)
			s.read("room", noon, map[collector.Point]float64{light: -6.1})
			s.begin(noon)
			s.read("room", noon.Add(59*time.Minute), map[collector.Point]float64{light: -3.1})
			v := s.end("v1", noon.Add(time.Hour))
			require.Equal(t, -3.1, v.After[0].Value, "the reading of the moment")
			for _, u := range []string{"room", "roof"} {
				s.read(u, noon.Add(70*time.Minute), map[collector.Point]float64{light: -3.1})
			}
			s.book.Keep(ctx, noon.Add(71*time.Minute))
			v, err := s.book.Visit("v1")
			require.NoError(t, err)
			require.Equal(t, visit.Closed, v.State)
			room := func(levels []visit.Level) visit.Level {
				for _, l := range levels {
					if l.Unit == "room" {
						return l
					}
				}
				return visit.Level{}
			}
			if name != "history" {
				require.Equal(t, -6.1, room(v.Before).Value)
				require.Equal(t, -3.1, room(v.After).Value)
				return
			}
			require.Equal(t, -6.0, room(v.Before).Value)
			require.Equal(t, 15, room(v.Before).Count)
			require.Equal(t, -3.0, room(v.After).Value)
			require.Equal(t, 11, room(v.After).Count)
		})
	}
}

// TestUnitsThatStaySilent: a unit that does not come back is waited for two
// hours, and then no longer.
func TestUnitsThatStaySilent(t *testing.T) {
	s := newScene(t, noon)
	s.read("room", noon, map[collector.Point]float64{light: -3})
	s.begin(noon)
	s.end("v1", noon.Add(time.Hour))
	s.book.Keep(ctx, noon.Add(2*time.Hour))
	require.Equal(t, visit.Settling, s.proof("v1", noon).State)
	s.book.Keep(ctx, noon.Add(3*time.Hour))
	p := s.proof("v1", noon)
	require.Equal(t, visit.Closed, p.State)
	require.Equal(t, visit.Gone, p.Lines[0].Verdict)
}

func TestText(t *testing.T) {
	s := newScene(t, noon)
	old := alarms.Alarm{Key: alarms.Key{Resource: "unit/room", Type: "sensor-broken"}, ID: "old", Site: "quay", Severity: alarms.Minor, Text: "a sensor is broken"}
	weak := alarms.Alarm{Key: alarms.Key{Resource: "unit/room/optical_receive_power", Type: "optical-signal-degraded"}, ID: "weak", Site: "quay", Severity: alarms.Major, Text: "light is weak"}
	s.alarms = []alarms.Alarm{weak, old}
	s.read("room", noon, map[collector.Point]float64{light: -6, level: -40.123, mains: 1})
	s.accept("room", light, -2)
	s.begin(noon, func(r *visit.Begin) { r.Resources = []string{"link/nq"} })
	s.alarms = []alarms.Alarm{old}
	done := noon.Add(30 * time.Minute)
	s.read("room", done, map[collector.Point]float64{light: -3, mains: 0})
	expected := -2.9
	_, err := s.book.End(ctx, "v1", visit.End{Found: "connector", Done: "cleaned", Exchanged: []string{"roof"}, Meter: []visit.Meter{{Unit: "room", Port: "a", DBm: -3.1, Expected: &expected}}}, noc, done)
	require.NoError(t, err)
	var text strings.Builder
	p := s.proof("v1", done)
	require.NoError(t, p.WriteText(&text))
	golden := filepath.Join("testdata", "proof.txt")
	if *update {
		require.NoError(t, os.MkdirAll("testdata", 0o755))
		require.NoError(t, os.WriteFile(golden, []byte(text.String()), 0o644))
	}
	want, err := os.ReadFile(golden)
	require.NoError(t, err)
	require.Equal(t, string(want), text.String())
	require.Equal(t, []string{"roof", "room"}, p.Touched())
}
