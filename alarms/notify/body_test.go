package notify_test

import (
	"net/http"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/notify"
)

func TestBodyTemplateCheckedAtLoad(t *testing.T) {
	for _, tt := range []struct {
		name, body, contentType string
		want                    string // part of the problem; empty: none
	}{
		{"chat", `{"text": {{json (printf "%s: %s" (upper (print .Alarm.Severity)) .Alarm.Text)}}}`, "", ""},
		{"plain text", "{{.Alarm.Severity}} {{.Subject}}\n{{.Alarm.Text}}", "text/plain; charset=utf-8", ""},
		{"list and date", `{"l": {{json (join ", " .Alarm.Impacted)}}, "t": "{{date "15:04" .Time}}", "s": {{json (cut 5 .Alarm.Text)}}}`, "", ""},
		{"number", `{"value": {{json (number 1 .Alarm.Observed)}}}`, "", ""},
		{"no syntax", "{{if}}", "", "parse template"},
		{"unknown field", `{"text": "{{.Alarm.Colour}}"}`, "", "Colour"},
		{"unquoted text", `{"text": "{{.Alarm.Text}}"}`, "", "not JSON"},
		{"empty", "{{/* nothing */}}", "", "empty"},
		{"index in an empty list", `{"text": {{json (index .Alarm.Impacted 0)}}}`, "", "lightwell.alarm.cleared"},
		{"pointer that is nil", `{"value": {{printf "%.1f" (deref .Alarm.Observed)}}}`, "", "deref"},
		{"endless", `{{define "x"}}xxxxxxxxxx{{template "x"}}{{end}}{{template "x"}}`, "text/plain", "longer than"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			e := endpoint()
			e.Body, e.ContentType, e.Repeat, e.Heartbeat = tt.body, tt.contentType, time.Hour, time.Hour
			err := e.Validate()
			if tt.want == "" {
				require.NoError(t, err)
				return
			}
			require.ErrorContains(t, err, tt.want)
		})
	}
}

func TestBodyTemplateIsSent(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := newReceiver(t, nil)
		e := endpoint()
		e.Body = `{"text": {{json .Alarm.Text}}, "kind": "{{.Type}}"}`
		d := start(t, notify.Config{Endpoints: []notify.Endpoint{e}, Via: f})
		require.NoError(t, d.Publish([]alarms.Change{change(1, "a", alarms.Raised, alarms.Major)}))
		synctest.Wait()
		got := f.got()
		require.Len(t, got, 1)
		require.JSONEq(t, `{"text": "supply b failed: replace it", "kind": "lightwell.alarm.raised"}`, string(got[0].body))
		require.Equal(t, "application/json", got[0].header.Get("Content-Type"))
	})
}

// A template that the samples did not catch: the message is dead and visible,
// and the others go on.
func TestBodyTemplateThatFailsLater(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := newReceiver(t, nil)
		e, plain := endpoint(), endpoint()
		plain.Name = "plain"
		e.Body = `{"text": {{json .Alarm.Text}}{{if eq .Alarm.ID "bad"}}{{index .Alarm.Impacted 7}}{{end}}}`
		d := start(t, notify.Config{Endpoints: []notify.Endpoint{e, plain}, Via: f})
		require.NoError(t, d.Publish([]alarms.Change{change(1, "bad", alarms.Raised, alarms.Major), change(2, "good", alarms.Raised, alarms.Major)}))
		synctest.Wait()
		require.Len(t, f.got(), 3)
		s := d.Stats()
		require.Equal(t, 1, s[0].Dead)
		require.EqualValues(t, 1, s[0].GivenUp)
		require.Contains(t, s[0].LastError, "index out of range")
		require.Zero(t, s[1].Dead)
		n, err := d.Resend("noc")
		require.NoError(t, err)
		require.Zero(t, n, "there is no body to send")
	})
}

func TestUnsignedOnlyWithTemplate(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var header http.Header
		via := roundTripper(func(r *http.Request) (*http.Response, error) {
			header = r.Header
			return answer(http.StatusOK), nil
		})
		e := endpoint()
		e.Secrets, e.Body = nil, `{"text": {{json .Alarm.Text}}}`
		d := start(t, notify.Config{Endpoints: []notify.Endpoint{e}, Via: via})
		require.NoError(t, d.Publish([]alarms.Change{change(1, "a", alarms.Raised, alarms.Major)}))
		synctest.Wait()
		require.NotEmpty(t, header.Get("webhook-id"))
		require.Empty(t, header.Values("webhook-signature"))
	})
}

type roundTripper func(*http.Request) (*http.Response, error)

func (f roundTripper) RoundTrip(r *http.Request) (*http.Response, error) { return f(r) }

func FuzzBodyTemplate(f *testing.F) {
	for _, s := range []string{`{"text": {{json .Alarm.Text}}}`, "{{range .Alarm.Impacted}}{{.}}{{end}}", "{{cut -1 .Subject}}", "{{date \"\" .Time}}"} {
		f.Add(s, "text/plain")
	}
	f.Fuzz(func(t *testing.T, body, contentType string) {
		e := endpoint()
		e.Body, e.ContentType = body, contentType
		if err := e.Validate(); err != nil && strings.Contains(err.Error(), "path-token") {
			t.Fatal("address quoted")
		}
	})
}
