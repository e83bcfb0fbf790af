package notify_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/notify"
	"lightwell/collector"
)

func TestEndpointProblems(t *testing.T) {
	for _, tt := range []struct {
		name   string
		change func(*notify.Endpoint)
		fields string // of the problems, in order
	}{
		{"good", func(*notify.Endpoint) {}, ""},
		{"no name", func(e *notify.Endpoint) { e.Name = "" }, "name"},
		{"no url", func(e *notify.Endpoint) { e.URL = collector.Secret{} }, "url"},
		{"not a url", func(e *notify.Endpoint) { e.URL = collector.NewSecret("https://[") }, "url"},
		{"no host", func(e *notify.Endpoint) { e.URL = collector.NewSecret("https:///x") }, "url"},
		{"other scheme", func(e *notify.Endpoint) { e.URL = collector.NewSecret("ftp://noc.example") }, "url"},
		{"plain http", func(e *notify.Endpoint) { e.URL = collector.NewSecret("http://noc.example") }, "url"},
		{"plain http wanted", func(e *notify.Endpoint) { e.URL, e.Insecure = collector.NewSecret("http://noc.example"), true }, ""},
		{"plain http to this machine", func(e *notify.Endpoint) { e.URL = collector.NewSecret("http://127.0.0.1:9/x") }, ""},
		{"plain http to this machine, IPv6", func(e *notify.Endpoint) { e.URL = collector.NewSecret("http://[::1]:9/x") }, ""},
		{"no secret", func(e *notify.Endpoint) { e.Secrets = nil }, "secrets"},
		{"no secret with a body", func(e *notify.Endpoint) { e.Secrets, e.Body = nil, `{"text": {{json .Alarm.Text}}}` }, ""},
		{"bad secret", func(e *notify.Endpoint) { e.Secrets = secrets("whsec_AAAA") }, "secrets"},
		{"unknown mode", func(e *notify.Endpoint) { e.Mode = "sometimes" }, "mode"},
		{"level without severity", func(e *notify.Endpoint) { e.Mode = notify.SeverityLevel }, "severity"},
		{"severity alone", func(e *notify.Endpoint) { e.Severity = alarms.Major }, ""},
		{"severity with another mode", func(e *notify.Endpoint) { e.Mode, e.Severity = notify.RaiseAndClear, alarms.Major }, "severity"},
		{"severity cleared", func(e *notify.Endpoint) { e.Severity = alarms.Cleared }, "severity"},
		{"short repeat", func(e *notify.Endpoint) { e.Repeat = time.Second }, "repeat"},
		{"short heartbeat", func(e *notify.Endpoint) { e.Heartbeat = -time.Minute }, "heartbeat"},
		{"content type without body", func(e *notify.Endpoint) { e.ContentType = "text/plain" }, "content_type"},
		{"content type with line break", func(e *notify.Endpoint) { e.Body, e.ContentType = "x", "text/plain\r\nx: y" }, "content_type"},
		{"bad template", func(e *notify.Endpoint) { e.Body = "{{" }, "body"},
		{"everything", func(e *notify.Endpoint) { *e = notify.Endpoint{Mode: "x", Repeat: 1, Heartbeat: 1} },
			"name url secrets mode repeat heartbeat"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			e := endpoint()
			tt.change(&e)
			var fields []string
			for _, p := range e.Problems() {
				fields = append(fields, p.Field)
				require.NotEmpty(t, p.What)
				require.NotEmpty(t, p.Remedy)
			}
			require.Equal(t, tt.fields, strings.Join(fields, " "))
			if tt.fields == "" {
				require.NoError(t, e.Validate())
			} else {
				require.Error(t, e.Validate())
			}
		})
	}
}

func TestEndpointPrintsNoSecret(t *testing.T) {
	e := endpoint()
	for _, verb := range []string{"%v", "%+v", "%#v", "%s"} {
		text := fmt.Sprintf(verb, e)
		require.NotContains(t, text, "path-token")
		require.NotContains(t, text, "AAECAwQ")
	}
}

// walk makes the changes of one alarm that goes through severities.
// Cleared clears; a repeated severity is a change of text.
func walk(severities ...alarms.Severity) []alarms.Change {
	var out []alarms.Change
	var history []alarms.StatusChange
	last, active := alarms.Severity(0), false
	for i, s := range severities {
		kind := alarms.SeverityChanged
		switch {
		case s == alarms.Cleared:
			kind = alarms.ClearedChange
		case !active:
			kind, last = alarms.Raised, s
		case s == last:
			kind = alarms.TextChanged
		}
		if s != alarms.Cleared {
			last = s
		}
		active = s != alarms.Cleared
		c := change(uint64(i+1), "a", kind, last)
		history = append([]alarms.StatusChange{{Time: c.Time, Severity: s, Text: "x"}}, history...)
		c.Alarm.Changes = append([]alarms.StatusChange(nil), history...)
		out = append(out, c)
	}
	return out
}

func TestNotifyModes(t *testing.T) {
	const cleared, warning, minor, major, critical = alarms.Cleared, alarms.Warning, alarms.Minor, alarms.Major, alarms.Critical
	level := endpoint()
	level.Severity = major
	edges := endpoint()
	edges.Mode = notify.RaiseAndClear
	for _, tt := range []struct {
		name     string
		endpoint notify.Endpoint
		changes  []alarms.Change
		want     []int // places of those sent, from 1
	}{
		// RFC 8632, notify-status-changes: its own example.
		{"level major", level, walk(major, minor, warning, minor, major, critical, major, cleared), []int{1, 2, 5, 6, 7, 8}},
		{"level major, never reached", level, walk(warning, cleared), []int{2}}, // rule of RFC 8632
		{"level major, text at it", level, walk(major, major), []int{1, 2}},
		{"level major, text below it", level, walk(minor, minor), nil},
		{"raise and clear", edges, walk(minor, major, major, cleared, major), []int{1, 4, 5}}, // RFC 8632
		{"all", endpoint(), walk(minor, major, major, cleared, minor), []int{1, 2, 3, 4, 5}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			var got []int
			for i := range tt.changes {
				if tt.endpoint.Wants(&tt.changes[i]) {
					got = append(got, i+1)
				}
			}
			require.Equal(t, tt.want, got)
		})
	}
}

func TestFilters(t *testing.T) {
	e := endpoint()
	e.Types, e.Sites = []string{"supply-failed"}, []string{"north-quay"}
	c := change(1, "a", alarms.Raised, alarms.Major)
	require.True(t, e.Wants(&c))
	for name, spoil := range map[string]func(*alarms.Change){
		"other type":  func(c *alarms.Change) { c.Alarm.Type = "laser-failed" },
		"other site":  func(c *alarms.Change) { c.Alarm.Site = "elsewhere" },
		"kept silent": func(c *alarms.Change) { c.Notify = false },
		"a comment":   func(c *alarms.Change) { c.Kind = alarms.Commented },
	} {
		c := change(1, "a", alarms.Raised, alarms.Major)
		spoil(&c)
		require.False(t, e.Wants(&c), name)
	}
	c.Alarm.Site = ""
	require.True(t, e.Wants(&c), "an alarm of no site goes to all")
	e.OperatorActions = true
	c = change(1, "a", alarms.Acknowledged, alarms.Major)
	require.True(t, e.Wants(&c))
	e.Severity = alarms.Critical
	require.False(t, e.Wants(&c), "below the level")
	e.Severity = 0
	c = change(1, "a", alarms.Released, alarms.Major)
	require.True(t, e.Wants(&c), "out of hold: first announcement")
	c = change(1, "a", alarms.Purged, alarms.Major)
	require.True(t, e.Wants(&c), "receivers who know of it must learn that it is gone")
}
