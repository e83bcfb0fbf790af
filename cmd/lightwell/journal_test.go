package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/notify"
	"lightwell/alarms/web"
)

// fakeDaemon answers each path with a value, and writes down what was asked.
func fakeDaemon(t *testing.T, answers map[string]any) (url string, asked *[]string) {
	asked = &[]string{}
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		body, _ := io.ReadAll(r.Body)
		line := strings.TrimSpace(r.Method + " " + r.URL.String() + " " + string(body))
		*asked = append(*asked, line)
		answer, ok := answers[r.Method+" "+r.URL.String()]
		if !ok {
			answer, ok = answers[r.Method+" "+r.URL.Path]
		}
		if !ok {
			w.WriteHeader(http.StatusNotFound)
			answer = problem{Detail: "nothing at " + line}
		}
		require.NoError(t, json.NewEncoder(w).Encode(answer))
	}))
	t.Cleanup(server.Close)
	return server.URL, asked
}

func lightwell(t *testing.T, args ...string) (string, error) {
	var out bytes.Buffer
	err := run(t.Context(), args, &out, io.Discard)
	return out.String(), err
}

func TestWebhooksCommands(t *testing.T) {
	url, asked := fakeDaemon(t, map[string]any{
		"GET /api/v1/webhooks": page[notify.Stats]{Items: []notify.Stats{{Endpoint: "noc", State: notify.Failing, Delivered: 12, Dead: 1, LastError: "answered 500"}}},
		"GET /api/v1/deliveries": page[web.Delivery]{Items: []web.Delivery{{
			ID: "evt_1", Endpoint: "noc", State: notify.Dead, Created: time.Now().Add(-26 * time.Hour), Attempts: 9, Type: "lightwell.alarm.raised", Reason: "answered 500",
		}}},
		"POST /api/v1/deliveries/resend":   web.Resent{Deliveries: 3},
		"POST /api/v1/deliveries/drop":     web.Resent{Deliveries: 2},
		"POST /api/v1/webhooks/noc/resume": nil,
	})
	out, err := lightwell(t, "webhooks", "--server", url, "--state", "dead", "--endpoint", "noc")
	require.NoError(t, err)
	require.Regexp(t, `(?m)^noc +failing +12 +0 +1 +answered 500$`, out)
	require.Regexp(t, `(?m)^evt_1 +noc +dead +1d2h +9 +lightwell.alarm.raised +answered 500$`, out)
	require.Contains(t, (*asked)[1], "endpoint=noc")
	require.Contains(t, (*asked)[1], "state=dead")
	out, err = lightwell(t, "webhooks", "list", "--server", url, "-o", "json")
	require.NoError(t, err)
	require.True(t, json.Valid([]byte(out)))

	out, err = lightwell(t, "webhooks", "resend", "--server", url, "noc", "evt_1", "evt_2")
	require.NoError(t, err)
	require.Equal(t, "3 are on their way again to noc\n", out)
	require.Equal(t, `POST /api/v1/deliveries/resend {"endpoint":"noc","ids":["evt_1","evt_2"]}`, (*asked)[len(*asked)-1])
	out, err = lightwell(t, "webhooks", "drop", "--server", url, "noc")
	require.NoError(t, err)
	require.Equal(t, "2 are forgotten that were for noc\n", out)
	out, err = lightwell(t, "webhooks", "resume", "--server", url, "noc")
	require.NoError(t, err)
	require.Equal(t, "noc is sent to again\n", out)
	_, err = lightwell(t, "webhooks", "resume", "--server", url, "nobody")
	require.ErrorContains(t, err, "nothing at POST")
}

func TestLogCommand(t *testing.T) {
	at := time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	raised := web.LogLine{Entry: 1, Time: at, Kind: "raised", Site: "quay", AlarmID: "a", Alarm: &alarms.Brief{
		Key: alarms.Key{Resource: "unit/room", Type: "supply-failed"}, Severity: alarms.Major, Text: "supply b failed"}}
	said := web.LogLine{Entry: 2, Time: at, Kind: "commented", Operator: "mira", From: "192.0.2.7", Text: "part ordered", AlarmID: "a", Alarm: raised.Alarm}
	reload := web.LogLine{Entry: 3, Time: at, Kind: "reloaded", Operator: "daemon", Text: "nothing changed"}
	url, asked := fakeDaemon(t, map[string]any{
		"GET /api/v1/log":                    page[web.LogLine]{Items: []web.LogLine{reload, said}, Next: "2"},
		"GET /api/v1/log?after=2&limit=1000": page[web.LogLine]{Items: []web.LogLine{raised}},
	})
	out, err := lightwell(t, "log", "--server", url, "--limit", "0")
	require.NoError(t, err)
	require.Regexp(t, `(?m)^2026-03-01 12:00:00 UTC +commented +mira +192.0.2.7 +supply-failed unit/room +part ordered$`, out)
	require.Regexp(t, `(?m)^2026-03-01 12:00:00 UTC +raised +supply-failed unit/room +supply b failed$`, out)
	require.Equal(t, 4, strings.Count(out, "\n"), "heading and both pages")
	out, err = lightwell(t, "log", "--server", url, "--limit", "2", "--site", "quay", "--alarm", "a", "--since", "24h", "-o", "json")
	require.NoError(t, err)
	var lines []web.LogLine
	require.NoError(t, json.Unmarshal([]byte(out), &lines))
	require.Equal(t, []web.LogLine{reload, said}, lines)
	last := (*asked)[len(*asked)-1]
	for _, want := range []string{"alarm=a", "site=quay", "limit=2", fmt.Sprintf("since=%d", time.Now().Add(-24*time.Hour).UTC().Year())} {
		require.Contains(t, last, want)
	}
	url, _ = fakeDaemon(t, map[string]any{"GET /api/v1/log": page[web.LogLine]{}})
	out, err = lightwell(t, "log", "--server", url)
	require.NoError(t, err)
	require.Equal(t, "nothing in the log\n", out)
}
