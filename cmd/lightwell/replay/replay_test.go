package replay_test

import (
	"context"
	"fmt"
	"runtime"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms/rules"
	"lightwell/cmd/lightwell/replay"
	"lightwell/collector"
)

func formatted(v float64) string { return strconv.FormatFloat(v, 'f', 6, 64) }

// film writes polls of units, one a minute.
type film struct {
	strings.Builder
	now time.Time
}

func newFilm() *film {
	f := &film{now: origin}
	f.WriteString("time,unit,point,value,quality\n")
	return f
}

// shot adds n polls of one unit; each of values is point=value or a failure.
func (f *film) shot(n int, unit string, values ...string) *film {
	for i := range n {
		for _, v := range values {
			point, value, ok := strings.Cut(v, "=")
			if !ok {
				fmt.Fprintf(f, "%s,%s,,,%s\n", f.now.Format(time.RFC3339), unit, v)
				continue
			}
			if v, err := strconv.ParseFloat(value, 64); err == nil && strings.HasPrefix(point, "optical") {
				value = formatted(v + 0.01*float64(i%3)) // no monitor stands still
			}
			fmt.Fprintf(f, "%s,%s,%s,%s,\n", f.now.Format(time.RFC3339), unit, point, value)
		}
		f.now = f.now.Add(time.Minute)
	}
	return f
}

func play(t testing.TB, cfg replay.Config, rec *replay.Recording) *replay.Result {
	t.Helper()
	cfg.Rules = rules.All()
	result, err := replay.Run(context.Background(), cfg, rec)
	require.NoError(t, err)
	return result
}

// lines gives what was told, without texts.
func lines(r *replay.Result) []string {
	out := []string{}
	for _, l := range r.Lines {
		words := []string{l.Time.Sub(origin).String(), l.Kind}
		if l.What == replay.AlarmLine {
			words = append(words, l.Severity, l.Type)
		}
		words = append(words, l.Resource)
		if l.Held != "" {
			words = append(words, "held by", l.Held)
		}
		out = append(out, strings.Join(words, " "))
	}
	return out
}

var tenPolls = replay.Config{BaselinePolls: 10}

func TestStories(t *testing.T) {
	const rx, bad = "optical_receive_power", "raised minor optical-signal-degraded unit/a/optical_receive_power"
	for _, tt := range []struct {
		name string
		film *film
		cfg  replay.Config
		want []string
	}{
		{"all is well", newFilm().shot(30, "a", rx+"=-3"), tenPolls, []string{}},
		{"a loss comes and goes", newFilm().shot(20, "a", rx+"=-3").shot(10, "a", rx+"=-4.5").shot(5, "a", rx+"=-3"), tenPolls, []string{
			"22m0s " + bad, "32m0s cleared cleared optical-signal-degraded unit/a/optical_receive_power"}},
		{"the baseline comes from the first polls only", newFilm().shot(10, "a", rx+"=-3").shot(20, "a", rx+"=-4.5"), tenPolls, []string{"12m0s " + bad}},
		{"from as much time as was asked for", newFilm().shot(10, "a", rx+"=-3").shot(20, "a", rx+"=-4.5"), replay.Config{BaselineTime: time.Hour}, []string{}},
		{"no baseline, nothing to compare with", newFilm().shot(10, "a", rx+"=-3").shot(20, "a", rx+"=-4.5"), replay.Config{}, []string{}},
		{"silence", newFilm().shot(12, "a", rx+"=-3").shot(5, "a", "no_answer").shot(5, "a", rx+"=-3"), tenPolls, []string{
			"13m0s raised major unit-unreachable unit/a", "18m0s cleared cleared unit-unreachable unit/a"}},
		{"units do not explain each other", newFilm().shot(12, "a", rx+"=-3").shot(12, "b", rx+"=-3").shot(4, "a", "refused").shot(4, "b", "no_answer"), tenPolls, []string{
			"25m0s raised major credentials-refused unit/a", "29m0s raised major unit-unreachable unit/b"}},
		{"no light, by level and by state", newFilm().shot(12, "a", rx+"=-3", "optical_receive_state/b=good").shot(4, "a", rx+"=-40", "optical_receive_state/b=good"), tenPolls, []string{
			"13m0s raised critical optical-signal-lost unit/a/optical_receive_power"}},
		{"a restart is an event", newFilm().shot(1, "a", "uptime=9000").shot(1, "a", "uptime=9060").shot(1, "a", "uptime=20"), tenPolls, []string{"2m0s restart unit/a"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			result := play(t, tt.cfg, record(t, tt.film.String()))
			require.Equal(t, tt.want, lines(result))
			again := play(t, tt.cfg, record(t, tt.film.String()))
			require.Equal(t, result, again, "the same readings, the same result")
			tt.cfg.Tick = 5 * time.Second
			require.Equal(t, tt.want, lines(play(t, tt.cfg, record(t, tt.film.String()))), "further looks find nothing else here")
		})
	}
}

// TestTick: a delay that runs out between two polls is told at the next poll,
// or with a tick on time.
func TestTick(t *testing.T) {
	f := newFilm().shot(12, "a", "optical_receive_power=-3")
	for range 6 { // silent from poll to poll: 30 s are over between two
		fmt.Fprintf(f, "%s,a,,,no_answer\n", f.now.Format(time.RFC3339))
		f.now = f.now.Add(7 * time.Second)
	}
	f.now = f.now.Add(time.Hour)
	f.shot(1, "a", "no_answer")
	raised := func(tick time.Duration) time.Duration {
		result := play(t, replay.Config{BaselinePolls: 10, Tick: tick}, record(t, f.String()))
		require.Len(t, result.Lines, 1)
		return result.Lines[0].Time.Sub(origin) - 12*time.Minute
	}
	require.Equal(t, 35*time.Second, raised(0))
	require.Equal(t, 30*time.Second, raised(5*time.Second))
}

// TestFleet tries another severity and planned work on the same readings.
func TestFleet(t *testing.T) {
	rec := record(t, newFilm().shot(20, "a", "optical_receive_power=-3").shot(10, "a", "optical_receive_power=-4.5").shot(3, "other", "temperature=20").String())
	plain := replay.Invent(rec.Points())
	fleet := *plain
	fleet.Units = fleet.Units[:2] // without the other
	fleet.Severities = []collector.SeverityRule{{Type: rules.SignalDegraded, Severity: "critical"}}
	result := play(t, replay.Config{BaselinePolls: 10, Fleet: collector.NewFleet(fleet)}, rec)
	require.Equal(t, []string{"22m0s raised critical optical-signal-degraded unit/a/optical_receive_power"}, lines(result))
	require.Equal(t, []string{"other"}, result.Summary.Skipped)
	require.Equal(t, []replay.TypeCount{{Type: rules.SignalDegraded, Raised: 1, Notified: 1, Active: 1}}, result.Summary.Types)

	fleet.PlannedWork = []collector.PlannedWork{{ID: "pull", Resources: []string{"unit/a"}, Start: "2025-01-01T00:15:00Z", Duration: 11 * time.Minute, Location: time.UTC}}
	result = play(t, replay.Config{BaselinePolls: 10, Fleet: collector.NewFleet(fleet)}, rec)
	require.Equal(t, []string{
		"22m0s raised critical optical-signal-degraded unit/a/optical_receive_power held by pull", "22m0s hold-began site/a",
		"26m0s released critical optical-signal-degraded unit/a/optical_receive_power", "26m0s hold-ended site/a",
	}, lines(result))
	require.Equal(t, []replay.TypeCount{{Type: rules.SignalDegraded, Raised: 1, Notified: 1, Active: 1}}, result.Summary.Types)
}

func TestBaselinesAreShown(t *testing.T) {
	f := newFilm()
	for i := range 30 {
		f.shot(1, "a", fmt.Sprintf("optical_receive_power=%.2f", -3-float64(i)/20))
	}
	result := play(t, replay.Config{BaselinePolls: 30}, record(t, f.String()))
	require.Len(t, result.References, 1)
	ref := result.References[0]
	require.InDelta(t, -3.72, ref.Levels["optical_receive_power"].Value, 0.1)
	require.Equal(t, origin.Add(29*time.Minute), ref.Until)
	require.Contains(t, strings.Join(ref.Findings, "\n"), "drifts", "what speaks against a baseline is told")
	var out strings.Builder
	require.NoError(t, result.WriteText(&out))
	require.Contains(t, out.String(), "baseline of a: optical_receive_power drifts")
	require.Contains(t, out.String(), "30 readings in 30 polls of 1 units, 2025-01-01 00:00:00 to 2025-01-01 00:29:00")
	require.Contains(t, out.String(), "no alarms")
}

func TestStopsWhenTold(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	_, err := replay.Run(ctx, replay.Config{}, record(t, newFilm().shot(5000, "a", "temperature=20").String()))
	require.ErrorIs(t, err, context.Canceled)
}

func TestNothingRead(t *testing.T) {
	result := play(t, tenPolls, record(t, "time,unit,point,value\n"))
	var out strings.Builder
	require.NoError(t, result.WriteText(&out))
	require.Contains(t, out.String(), "0 readings in 0 polls of 0 units, nothing read")
}

// TestPartsDoNotMatter replays sites whose polls come at the same moments on
// one processor and on several.
func TestPartsDoNotMatter(t *testing.T) {
	f := newFilm()
	for minute := range 60 {
		for unit := range 9 {
			at := f.now.Add(time.Duration(unit*37) * time.Millisecond).Format(time.RFC3339Nano)
			level := -3 + 0.01*float64(minute%3)
			if minute/10%2 == 1 && unit%2 == 0 {
				level -= 2
			}
			fmt.Fprintf(f, "%s,u%d,optical_receive_power,%.2f,\n%s,u%d,uptime,%d,\n", at, unit, level, at, unit, minute*60%1500)
		}
		f.now = f.now.Add(time.Minute)
	}
	rec := record(t, f.String())
	fleet := *replay.Invent(rec.Points())
	for i := range fleet.Units { // three sites of three
		fleet.Units[i].Site = fmt.Sprint("u", i/6) // each has a far end
	}
	cfg := replay.Config{BaselinePolls: 10, Fleet: collector.NewFleet(fleet)}
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(1))
	alone := play(t, cfg, rec)
	require.Greater(t, len(alone.Lines), 20)
	require.Equal(t, 60*9, alone.Summary.Polls)
	for _, processors := range []int{2, 3, 8} {
		runtime.GOMAXPROCS(processors)
		require.Equal(t, alone, play(t, cfg, rec))
	}
}
