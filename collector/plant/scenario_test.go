package plant_test

import (
	"context"
	"errors"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/collector/document"
	"lightwell/collector/plant"
	"lightwell/collector/probertest"
)

const story = `
- {at: 30m, fault: cable-cut, cable: riser, for: 20m, say: a digger, then: spliced}
- at: 40m
  fault: connector-dirty
  link: c
  direction: uplink
  size: 1.5
  every: 2h
  times: 2
- {at: 10m, fault: mains-dip, site: quay}
- {at: 50m, fault: joint-creep, link: c, size: 1, ramp: 0s}
`

func parsed(t testing.TB, b *bench, text string) plant.Scenario {
	t.Helper()
	s, err := b.ParseScenario("story.yaml", []byte(text))
	require.NoError(t, err)
	return s
}

func TestScenarioEvents(t *testing.T) {
	s := parsed(t, newBench(t, 1), story)
	const m = time.Minute
	require.Equal(t, []plant.Event{
		{At: 10 * m, Kind: "mains-dip", On: "site/quay"},
		{At: 10*m + 20*time.Second, Over: true, Kind: "mains-dip", On: "site/quay"},
		{At: 30 * m, Kind: "cable-cut", On: "cable/riser", Text: "a digger"},
		{At: 40 * m, Kind: "connector-dirty", On: "link/c"},
		{At: 50 * m, Over: true, Kind: "cable-cut", On: "cable/riser", Text: "spliced"},
		{At: 50 * m, Kind: "joint-creep", On: "link/c"},
		{At: 160 * m, Kind: "connector-dirty", On: "link/c"},
	}, s.Events())
	require.Equal(t, s.Events()[2:4], s.Between(30*m, 50*m), "from inclusive, to exclusive")
	require.Empty(t, plant.Scenario{}.Events())
}

func TestScenarioIsPlayedInItsTime(t *testing.T) {
	b, twin := newBench(t, 1), newBench(t, 1)
	b.Play(parsed(t, b, story))
	change := func(unit string, after time.Duration) float64 {
		return b.read(unit, after)["optical_receive_power"] - twin.read(unit, after)["optical_receive_power"]
	}
	require.InDelta(t, 0, change("rack", 30*time.Minute-time.Second), 0.01)
	require.Less(t, change("rack", 30*time.Minute), -30.0)
	require.InDelta(t, 0, change("rack", 50*time.Minute), 0.01)
	require.InDelta(t, 0, change("module", 50*time.Minute-time.Second), 0.01)
	require.InDelta(t, -1, change("module", 50*time.Minute), 0.01, "ramp: 0s makes a step")
	require.InDelta(t, -1.5, change("deck", 2*time.Hour), 0.02)
	require.InDelta(t, -3, change("deck", 3*time.Hour), 0.02, "twice")
}

// Every fault of a file at once, each where it stands.
func TestScenarioFaults(t *testing.T) {
	b := newBench(t, 1)
	_, err := b.ParseScenario("story.yaml", []byte(`
- {at: 30m, fault: cable-cutt, cable: riser}
- {at: -1m, fault: cable-cut, cable: rizer}
- {fault: supply-lost, unit: rack, port: c, colour: red}
- at: 1h
  fault: connector-dirty
  link: a
  size: 99
- {at: 1h, fault: mains-dip, site: quay, every: 1h}
- {at: 1h, fault: mains-dip, site: quay, times: 3}
- {at: 1h, fault: mains-dip, site: quay, every: 300000h, times: 900}
- {at: 1h, fault: mains-dip, site: quay, every: 1h, times: 5000}
- {at: 900000h, fault: joint-creep, link: a, ramp: -5m}
- {at: soon, fault: agent-restart, unit: rack}
`))
	var faults document.Faults
	require.ErrorAs(t, err, &faults)
	var lines []string
	for _, f := range faults {
		lines = append(lines, f.Error())
	}
	all := strings.Join(lines, "\n")
	for _, want := range []string{
		`story.yaml:2:20: entry 1: unknown fault "cable-cutt"; did you mean "cable-cut"?`,
		`story.yaml:3:8: entry 2: at -1m0s is not within 0s to 50 years`,
		`story.yaml:3:38: entry 2: unknown cable "rizer"; did you mean "riser"?`,
		`key "at" is missing`,
		`unknown key "colour"`,
		`unit "rack" has no supply "c"`,
		`story.yaml:8:9: entry 4: size 99 is not within 0.1 to 30 dB`,
		`story.yaml:9:49: entry 5: an interval without repetition`,
		`entry 6: repeated without an interval`,
		`entry 7: repeated for more than 50 years`,
		`entry 8: times 5000 is not within 1 to 1000`,
		`entry 9: at 900000h0m0s is not within 0s to 50 years`,
		`entry 9: ramp -5m0s is not within`,
		`is not a duration`,
	} {
		require.Contains(t, all, want)
	}
	require.Len(t, lines, 14, all)
	_, err = b.ParseScenario("story.yaml", []byte("at: 3m"))
	require.ErrorContains(t, err, "not a list")
}

func TestRunTellsEventsInTime(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f, models := fleet(t)
		p, err := plant.New(f, models, plant.Config{Start: start, Speed: 60})
		require.NoError(t, err)
		s, err := p.ParseScenario("story.yaml", []byte(story))
		require.NoError(t, err)
		began := time.Now()
		var told []time.Duration
		require.NoError(t, p.Run(t.Context(), s, func(plant.Event) { told = append(told, time.Since(began)) }))
		want := []time.Duration{10 * time.Second, 10*time.Second + time.Second/3, 30 * time.Second, 40 * time.Second, 50 * time.Second, 50 * time.Second, 160 * time.Second}
		require.Len(t, told, len(want))
		for i := range want {
			require.InDelta(t, want[i], told[i], float64(time.Microsecond))
		}

		ctx, cancel := context.WithTimeout(t.Context(), 5*time.Second)
		defer cancel()
		late, err := plant.New(f, models, plant.Config{Speed: 60})
		require.NoError(t, err)
		require.NoError(t, late.Run(ctx, s, func(plant.Event) { t.Error("told before its time") }))
	})
}

func TestProberContract(t *testing.T) {
	f, models := fleet(t)
	p, err := plant.New(f, models, plant.Config{Seed: 3, Start: start})
	require.NoError(t, err)
	for _, fault := range []plant.Fault{
		{Kind: "management-lost", Unit: "hall-1"},
		{Kind: "fibre-open", Link: "c"},
	} {
		_, err := p.Inject(fault, start.Add(-time.Hour))
		require.NoError(t, err)
	}
	var units probertest.Units
	units.Good, _ = f.Unit("roof")
	units.Dark, _ = f.Unit("deck")
	units.Silent, _ = f.Unit("mast")
	probertest.Run(t, p.Prober(), units)

	stranger := units.Good
	stranger.ID = "stranger"
	_, err = p.Prober().Probe(t.Context(), stranger)
	require.ErrorContains(t, err, `probe "stranger": the plant has no such unit`)
}

// Prober and agent show the same plant.
func TestProberReadsWhatTheAgentShows(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t, 5)
		for _, u := range b.fleet.Units {
			readings, err := b.Prober().Probe(t.Context(), u)
			require.NoError(t, err)
			shown := b.read(u.ID, 0)
			for _, r := range readings {
				require.Equal(t, shown[r.Point.String()], r.Value, "%s %s", u.ID, r.Point)
			}
		}
	})
}

func FuzzParseScenario(f *testing.F) {
	b := newBench(f, 1)
	for _, seed := range []string{
		story, "", "[]", "- {at: 1h, fault: warm-up, unit: deck, every: 3h, times: 3}", "- {at: 0s, fault: monitor-drift, unit: module, point: laser_bias, size: -1e300}",
		"- {at: 438000h, fault: mains-dip, site: quay, for: 438000h, every: 1h, times: 1000}", "- {at: 1h, fault: supply-lost, unit: deck, port: \"\"}",
	} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		s, err := b.ParseScenario("fuzz.yaml", data)
		if err != nil {
			var faults document.Faults
			if !errors.As(err, &faults) || len(faults) == 0 {
				t.Fatalf("%v is not a list of faults", err)
			}
			return
		}
		events := s.Events()
		for i, e := range events {
			if e.At < 0 || i > 0 && e.At < events[i-1].At {
				t.Fatalf("event %d at %s", i, e.At)
			}
		}
		if len(events) > 200 {
			return
		}
		p := newBench(t, 1)
		p.Play(s)
		for _, u := range p.fleet.Units {
			p.read(u.ID, 2*time.Hour)
		}
	})
}
