package main

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms/visit"
)

func TestVisitCommands(t *testing.T) {
	begun := time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)
	v := visit.Visit{ID: "v17", Site: "north-quay", State: visit.Open, By: "Kim", Reason: "weak", Resources: []string{"link/nq"}, Begun: begun, Until: begun.Add(4 * time.Hour)}
	over := v
	over.State, over.Ended, over.Forgotten = visit.Closed, v.Until, true
	url, asked := fakeDaemon(t, map[string]any{
		"POST /api/v1/visits":         v,
		"GET /api/v1/visits":          page[visit.Visit]{Items: []visit.Visit{over}},
		"GET /api/v1/visits/v17":      visit.Proof{Visit: over, SiteName: "North Quay", Conclusion: "1 alarm ended."},
		"POST /api/v1/visits/v17/end": visit.Proof{Visit: over, SiteName: "North Quay", Conclusion: "1 alarm ended."},
	})
	out, err := lightwell(t, "visit", "begin", "site/north-quay", "--server", url, "--by", "Kim", "--reason", "weak", "--on", "link/nq", "--limit", "4h")
	require.NoError(t, err)
	require.Equal(t, `POST /api/v1/visits {"by":"Kim","limit_minutes":240,"reason":"weak","resources":["link/nq"],"site":"north-quay"}`, (*asked)[0])
	require.Contains(t, out, "visit v17 is open until ")
	require.Contains(t, out, "lightwell visit end v17")

	out, err = lightwell(t, "visit", "end", "v17", "--server", url, "--found", "dirt", "--done", "cleaned", "--exchanged", "roof", "--meter", "room/a=-3.2:-2.9")
	require.NoError(t, err)
	require.Equal(t, `POST /api/v1/visits/v17/end {"found":"dirt","done":"cleaned","exchanged":["roof"],"meter":[{"unit":"room","port":"a","dbm":-3.2,"expected_dbm":-2.9}]}`, (*asked)[1])
	require.Contains(t, out, "1 alarm ended.")

	out, err = lightwell(t, "visit", "list", "--server", url, "--site", "north-quay", "--open")
	require.NoError(t, err)
	require.Regexp(t, `(?m)^v17 +closed +north-quay .* by itself +Kim +weak`, out)
	require.Contains(t, (*asked)[2], "open=true")
	out, err = lightwell(t, "visit", "show", "v17", "--server", url)
	require.NoError(t, err)
	require.Contains(t, out, "Visit v17 to North Quay (north-quay)")
	out, err = lightwell(t, "visit", "show", "v17", "--server", url, "-o", "json")
	require.NoError(t, err)
	require.Contains(t, out, `"conclusion": "1 alarm ended."`)
}

func TestVisitCommandsRefuse(t *testing.T) {
	for _, args := range [][]string{
		{"visit", "begin", "quay", "--reason", "x"},
		{"visit", "begin", "quay", "--by", "x", "--reason", "x", "--limit", "-1h"},
		{"visit", "end", "v1", "--found", "x"},
		{"visit", "end", "v1", "--found", "x", "--done", "y", "--meter", "room"},
		{"visit", "end", "v1", "--found", "x", "--done", "y", "--meter", "room=low"},
		{"visit", "end", "v1", "--found", "x", "--done", "y", "--meter", "=-3"},
		{"visit", "end", "v1", "--found", "x", "--done", "y", "--meter", "room=-3:"},
	} {
		_, err := lightwell(t, args...)
		require.Error(t, err, args)
	}
}
