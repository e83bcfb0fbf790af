package collector_test

import (
	"encoding/json"
	"fmt"
	"regexp"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/collector"
)

// Metric names follow the Prometheus naming rules: snake case, the unit last.
var metricName = regexp.MustCompile(`^[a-z][a-z0-9_]*[a-z0-9]$`)

func TestQuantityTable(t *testing.T) {
	rows := collector.Quantities()
	require.NotEmpty(t, rows)
	seen := map[string]bool{}
	for _, row := range rows {
		t.Run(string(row.Quantity), func(t *testing.T) {
			require.False(t, seen[row.Metric], "metric twice")
			seen[row.Metric] = true
			require.Regexp(t, metricName, row.Metric)
			require.NotRegexp(t, `_(total|created|sum|count|bucket|info)$`, row.Metric, "OpenMetrics reserves this ending")
			require.NotEmpty(t, row.Title)
			require.Regexp(t, `\.$`, row.Help)
			require.Less(t, row.Min, row.Max)
			info, ok := row.Quantity.Info()
			require.True(t, ok)
			require.Equal(t, row, info)
			if row.States != nil {
				require.Equal(t, float64(len(row.States)-1), row.Max)
				require.Empty(t, row.Unit)
			}
			for i, name := range row.States {
				v, ok := row.Quantity.StateValue(name)
				require.True(t, ok)
				require.Equal(t, float64(i), v)
				require.Equal(t, name, row.Quantity.StateName(v))
			}
		})
	}
	_, ok := collector.Quantity("humidity").Info()
	require.False(t, ok)
}

func TestStateNameOfNonsense(t *testing.T) {
	for _, v := range []float64{-1, 0.5, 3, 1e300} {
		require.Empty(t, collector.SupplyState.StateName(v), "%v", v)
	}
	require.Empty(t, collector.Temperature.StateName(0))
	_, ok := collector.SupplyState.StateValue("warming")
	require.False(t, ok)
	_, ok = collector.Quantity("humidity").StateValue("good")
	require.False(t, ok)
}

func TestBaseUnit(t *testing.T) {
	require.InDelta(t, 0.03, collector.LaserBias.BaseUnit(30), 1e-12)
	require.Equal(t, -7.1, collector.OpticalReceivePower.BaseUnit(-7.1))
}

func TestPointText(t *testing.T) {
	for _, text := range []string{"supply_state/b", "uptime"} {
		p, err := collector.ParsePoint(text)
		require.NoError(t, err)
		require.Equal(t, text, p.String())
	}
	_, err := collector.ParsePoint("humidity/a")
	require.ErrorContains(t, err, `unknown quantity "humidity"`)
}

func TestQualityText(t *testing.T) {
	for q := collector.Good; q <= collector.OutOfRange; q++ {
		text, err := json.Marshal(q)
		require.NoError(t, err)
		var back collector.Quality
		require.NoError(t, json.Unmarshal(text, &back))
		require.Equal(t, q, back)
	}
	var q collector.Quality
	require.Error(t, q.UnmarshalText([]byte("fine")))
	require.Equal(t, "quality(9)", collector.Quality(9).String())
}

func TestReadingState(t *testing.T) {
	r := collector.Reading{Point: collector.Point{Quantity: collector.SupplyState, Port: "a"}, Value: 1}
	require.Equal(t, collector.StateFailed, r.State())
	r.Quality = collector.Unavailable
	require.Empty(t, r.State(), "a missing state is not a state")
}

func TestSecretNeverPrints(t *testing.T) {
	const value = "maplesyrup"
	s := collector.NewSecret(value)
	require.Equal(t, value, s.Reveal())
	require.False(t, s.Empty())
	require.True(t, collector.Secret{}.Empty())
	asJSON, err := json.Marshal(struct{ S collector.Secret }{s})
	require.NoError(t, err)
	for _, text := range []string{string(asJSON), fmt.Sprint(s), fmt.Sprintf("%v %+v %#v %s %q", s, s, s, s, s), fmt.Sprintf("%+v", struct{ S collector.Secret }{s}), fmt.Sprintf("%#v", []collector.Secret{s})} {
		require.NotContains(t, text, value)
	}
}

func TestFleetLookups(t *testing.T) {
	f := collector.NewFleet(collector.Fleet{
		Sites:  []collector.Site{{ID: "quay", Location: time.UTC}, {ID: "pier", Location: time.UTC}},
		Cables: []collector.Cable{{ID: "riser", Site: "quay"}},
		Units:  []collector.Unit{{ID: "roof", Site: "quay"}, {ID: "room-1", Site: "quay"}, {ID: "room-2", Site: "quay"}, {ID: "lone", Site: "pier"}},
		Links:  []collector.Link{{ID: "one", Outdoor: "roof", Indoor: "room-1"}, {ID: "two", Outdoor: "roof", Indoor: "room-2"}},
	})
	_, ok := f.Site("quay")
	require.True(t, ok)
	_, ok = f.Cable("riser")
	require.True(t, ok)
	_, ok = f.Unit("nobody")
	require.False(t, ok)
	l, ok := f.Link("two")
	require.True(t, ok)
	require.Equal(t, "room-2", l.Indoor)
	require.Len(t, f.UnitsAt("quay"), 3)
	require.Len(t, f.LinksAt("quay"), 2)
	require.Empty(t, f.LinksAt("pier"))
	require.Len(t, f.LinksOf("roof"), 2)
	require.Len(t, f.LinksOf("room-1"), 1)
	require.Empty(t, f.UnitsAt("nowhere"))
}
