package main

import (
	"encoding/json"
	"io"
	"net/http"
	"net/http/httptest"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/web"
)

// TestActions: what is typed is what is asked for, in one request.
func TestActions(t *testing.T) {
	var asked web.Together
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		require.Equal(t, "POST /api/v1/alarms/actions", r.Method+" "+r.URL.Path)
		require.Equal(t, "Bearer s3cret", r.Header.Get("Authorization"))
		body, err := io.ReadAll(r.Body)
		require.NoError(t, err)
		asked = web.Together{}
		require.NoError(t, json.Unmarshal(body, &asked))
		out := web.Acted{}
		for _, a := range asked.Alarms {
			item := web.ActedOn{ID: a.ID, Done: a.ID != "gone", Type: "cable-cut", Resource: "cable/" + a.ID, Operator: alarms.OperatorAck}
			if !item.Done {
				item.Detail = `close alarm "gone": no such alarm`
			}
			out.Items = append(out.Items, item)
		}
		require.NoError(t, json.NewEncoder(w).Encode(out))
	}))
	defer server.Close()
	t.Setenv("LIGHTWELL_TOKEN", "s3cret")
	type seen = web.SeenAlarm
	for name, c := range map[string]struct {
		args []string
		want web.Together
		out  string
		err  string
	}{
		"one":          {[]string{"acknowledge", "a"}, web.Together{Action: "acknowledge", Alarms: []seen{{ID: "a"}}}, "cable-cut cable/a: ack\n", ""},
		"many":         {[]string{"comment", "a", "b@7", "--text", "x"}, web.Together{Action: "comment", Text: "x", Alarms: []seen{{ID: "a"}, {ID: "b", Version: 7}}}, "cable-cut cable/a: ack\ncable-cut cable/b: ack\n", ""},
		"one is gone":  {[]string{"close", "a", "gone"}, web.Together{Action: "close", Alarms: []seen{{ID: "a"}, {ID: "gone"}}}, "cable-cut cable/a: ack\n", `close alarm "gone": no such alarm`},
		"reopen":       {[]string{"reopen", "a"}, web.Together{Action: "reopen", Alarms: []seen{{ID: "a"}}}, "cable-cut cable/a: ack\n", ""},
		"unshelve":     {[]string{"unshelve", "a"}, web.Together{Action: "unshelve", Alarms: []seen{{ID: "a"}}}, "cable-cut cable/a: ack\n", ""},
		"bad version":  {[]string{"close", "a@x"}, web.Together{}, "", `"a@x": write the version behind @`},
		"version zero": {[]string{"close", "a@0"}, web.Together{}, "", `"a@0": write the version behind @`},
		"no alarm":     {[]string{"close"}, web.Together{}, "", `expected "<id> ..."`},
		"no length":    {[]string{"shelve", "a", "--for", "0s"}, web.Together{}, "", "must be longer than zero"},
	} {
		t.Run(name, func(t *testing.T) {
			asked = web.Together{}
			out, _, err := typed(t.Context(), append([]string{"alarms", c.args[0], "--server", server.URL}, c.args[1:]...)...)
			if c.err != "" {
				require.ErrorContains(t, err, c.err)
			} else {
				require.NoError(t, err)
			}
			require.Equal(t, c.want, asked)
			require.Equal(t, c.out, out)
		})
	}
	_, _, err := typed(t.Context(), "alarms", "shelve", "--server", server.URL, "a", "--for", "2h")
	require.NoError(t, err)
	require.WithinDuration(t, time.Now().Add(2*time.Hour), asked.Until, time.Minute)
}
