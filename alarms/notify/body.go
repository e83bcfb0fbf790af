package notify

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"text/template"
	"time"

	"lightwell/alarms"
)

const (
	cloudEventType      = "application/cloudevents+json; charset=utf-8"
	defaultTemplateType = "application/json"
)

// errTooLong ends a template that writes more than MaxBody bytes.
var errTooLong = fmt.Errorf("body is longer than %d bytes", MaxBody)

// templateFuncs are the functions of body templates beside the built-in ones.
var templateFuncs = template.FuncMap{
	"json":  toJSON, // any value as JSON: a string comes with its quotes
	"upper": strings.ToUpper,
	"join":  func(sep string, list []string) string { return strings.Join(list, sep) },
	"cut":   func(n int, s string) string { return cut(s, max(n, 0)) },
	"number": func(decimals int, v *float64) string {
		if v == nil {
			return ""
		}
		return strconv.FormatFloat(*v, 'f', decimals, 64)
	},
	"date": func(layout string, t time.Time) string { return t.Format(layout) },
}

func toJSON(v any) (string, error) {
	b, err := json.Marshal(v)
	return string(b), err
}

// template parses Body and tries it on samples, so that a fault shows when
// the configuration is loaded and not in the night. Nil without a Body.
func (e Endpoint) template() (*template.Template, error) {
	if e.Body == "" {
		return nil, nil
	}
	t, err := template.New("body").Funcs(templateFuncs).Option("missingkey=error").Parse(e.Body)
	if err != nil {
		return nil, fmt.Errorf("parse template: %w", err)
	}
	for _, m := range e.samples() {
		if _, err := render(t, e.contentType(), &m); err != nil {
			return nil, fmt.Errorf("try template on %s: %w", m.Type, err)
		}
	}
	return t, nil
}

func (e Endpoint) contentType() string {
	switch {
	case e.Body == "":
		return cloudEventType
	case e.ContentType == "":
		return defaultTemplateType
	}
	return e.ContentType
}

// render runs a template. A JSON body must be valid JSON.
func render(t *template.Template, contentType string, m *Message) ([]byte, error) {
	var b limitedBuffer
	if err := t.Execute(&b, m); err != nil {
		return nil, err
	}
	body := b.buf.Bytes()
	if len(bytes.TrimSpace(body)) == 0 {
		return nil, errors.New("body is empty")
	}
	if strings.HasPrefix(contentType, "application/json") && !json.Valid(body) {
		return nil, errors.New(`body is not JSON: write texts as {{json .Alarm.Text}}`)
	}
	return body, nil
}

// limitedBuffer refuses to grow beyond MaxBody.
type limitedBuffer struct{ buf bytes.Buffer }

func (b *limitedBuffer) Write(p []byte) (int, error) {
	if b.buf.Len()+len(p) > MaxBody {
		return 0, errTooLong
	}
	return b.buf.Write(p)
}

// samples are messages of every kind the endpoint may get, full and sparse,
// with characters that need quoting.
func (e Endpoint) samples() []Message {
	at := time.Date(2026, 1, 2, 3, 4, 5, 0, time.UTC)
	level, limit := -9.25, -7.5
	full := alarms.Alarm{
		Key: alarms.Key{Resource: "unit/sample/optical_receive_power", Type: "optical-signal-degraded"}, ID: "sample", Site: "sample-site",
		Severity: alarms.Minor, Text: "receive power is \"low\":\n\t-9.25 dBm, 1.75 dB below <limit> & baseline – café",
		Cause: alarms.Cause{Name: "degradedSignal", Number: 3}, EventType: alarms.CommunicationsAlarm,
		Created: at, LastRaised: at, LastChanged: at, Operator: alarms.OperatorNone,
		Details: alarms.Details{
			Impacted: []string{"link/sample"}, Observed: &level, Threshold: &limit, Unit: "dBm",
			Actions: []string{"clean the connector"}, Cautions: []string{"invisible laser light: never look into a fibre"},
		},
		Related: []alarms.Key{{Resource: "unit/sample", Type: "rf-level-deviation"}},
	}
	sparse := alarms.Alarm{Key: alarms.Key{Resource: "daemon", Type: "sample"}, ID: "sparse", Severity: alarms.Warning, Cleared: true, Text: "x", Created: at}
	out := []Message{
		alarmMessage("/lightwell/sample", &alarms.Change{Seq: 1, Time: at, Kind: alarms.Raised, Alarm: full, Notify: true}),
		alarmMessage("/lightwell/sample", &alarms.Change{Seq: 2, Time: at, Kind: alarms.ClearedChange, Alarm: sparse, Notify: true}),
		alarmMessage("/lightwell/sample", &alarms.Change{Seq: 3, Time: at, Kind: alarms.Acknowledged, Alarm: full, Operator: "sample", Text: "on \"my\" way", Notify: true}),
	}
	if e.Repeat > 0 {
		out = append(out, reminderMessage("/lightwell/sample", e.Name, 3, &full, 1, at))
	}
	if e.Heartbeat > 0 {
		out = append(out, heartbeatMessage("/lightwell/sample", e.Name, Heartbeat{IntervalSeconds: e.Heartbeat.Seconds()}, at))
	}
	return out
}
