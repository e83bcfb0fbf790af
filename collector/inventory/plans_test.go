package inventory_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/collector"
	"lightwell/collector/inventory"
)

// TestPlannedWork covers time zones, which only cron starts need, and windows
// that would never end.
func TestPlannedWork(t *testing.T) {
	const two = small + "  - {id: j, site: p, role: indoor, model: rack-dual-supply, address: 192.0.2.2}\nplanned_work:\n  - "
	// small describes the sites in one line; this test needs a second one.
	fleet := func(work string) string {
		return "sites: [{id: s, time_zone: Europe/Lisbon}, {id: p, time_zone: Asia/Tokyo}]" + two[len("\nsites: [{id: s}]"):] + work
	}
	for _, tt := range []struct{ work, zone, fault string }{
		{"{id: w, resources: [site/s], start: 0 1 * * 2, duration: 4h}", "Europe/Lisbon", ""},
		{"{id: w, resources: [unit/j], start: 0 1 * * 2, duration: 4h}", "Asia/Tokyo", ""},
		{"{id: w, resources: [cable/c, unit/r], start: 0 1 * * 2, duration: 4h}", "Europe/Lisbon", ""},
		{"{id: w, resources: [cable/c, unit/r], start: 0 1 * * 2, duration: 4h, time_zone: UTC}", "UTC", ""},
		{"{id: w, resources: [site/s, site/p], start: '2026-03-01T22:00:00+09:00', duration: 4h}", "UTC", ""},
		{"{id: w, resources: [site/s, site/p], start: 0 1 * * 2, duration: 4h}", "", "its sites are in different time zones; add time_zone"},
		{"{id: w, resources: [site/s], start: 0 1 * * 2, duration: 4h, time_zone: Local}", "", `unknown time zone "Local"; write a name`},
		{"{id: w, resources: [site/s], start: '@every 1h', duration: 59m}", "Europe/Lisbon", ""},
		{"{id: w, resources: [site/s], start: '@every 1h', duration: 1h}", "", "duration 1h0m0s is not shorter than the 1h0m0s between two starts"},
		{"{id: w, resources: [site/s], start: '0 0,1 * * *', duration: 2h}", "", "not shorter than the 1h0m0s between two starts"},
		{"{id: w, resources: [site/s], start: 2026-03-01 22:00, duration: 2h}", "", "is neither a time nor a cron expression"},
		{"{id: w, resources: [alarm/s], start: 0 1 * * 2, duration: 2h}", "", `"alarm/s" is not a resource; write site/, unit/, link/ or cable/ and an id`},
		{"{id: w, resources: [site/x], start: 0 1 * * 2, duration: 2h}", "", `there is no site "x"`},
		{"{id: w, resources: [site/s], start: 0 1 * * 2, duration: -2h}", "", "duration -2h0m0s is not above zero"},
	} {
		f, err := inventory.Parse("fleet.yaml", []byte(fleet(tt.work)), modelsOnly(t))
		if tt.fault != "" {
			require.ErrorContains(t, err, tt.fault, tt.work)
			require.ErrorContains(t, err, `planned work "w": `)
			continue
		}
		require.NoError(t, err, tt.work)
		require.Equal(t, tt.zone, f.PlannedWork[0].Location.String(), tt.work)
		require.NoError(t, new(collector.Calendar).SetFleet(f))
	}
}

// TestWorkFollowsTheZone: a window at three in the morning Lisbon time begins
// at two UTC in summer.
func TestWorkFollowsTheZone(t *testing.T) {
	f, err := inventory.Load([]string{"testdata/good.yaml"}, options(t))
	require.NoError(t, err)
	var c collector.Calendar
	require.NoError(t, c.SetFleet(f))
	summer := time.Date(2026, 7, 1, 2, 0, 0, 0, time.UTC)
	_, under := c.During([]string{"site/north-quay"}, summer.Add(-time.Minute))
	require.False(t, under)
	w, under := c.During([]string{"site/north-quay"}, summer)
	require.True(t, under)
	require.Equal(t, "both", w.ID)
}
