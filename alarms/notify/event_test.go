package notify_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"strings"
	"testing"

	cloudevents "github.com/cloudevents/sdk-go/v2/event"
	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/notify"
)

// cableCut is an alarm with everything in it.
func cableCut() alarms.Change {
	c := change(42, "q7dm3x5kzhw2v4ab", alarms.Raised, alarms.Critical)
	observed, threshold := -45.0, -12.0
	c.Alarm.Key = alarms.Key{Resource: "cable/nq-riser", Type: "optical-signal-lost"}
	c.Alarm.Text = "no light on 2 strands of cable nq-riser: the cable is cut or unplugged; find the place and splice it"
	c.Alarm.Cause, c.Alarm.EventType = alarms.Cause{Name: "lossOfSignal", Number: 8}, alarms.CommunicationsAlarm
	c.Alarm.Details = alarms.Details{
		Impacted: []string{"link/nq", "link/nq-2"}, Observed: &observed, Threshold: &threshold, Unit: "dBm",
		Actions:  []string{"measure both strands with a reflectometer from the indoor end"},
		Cautions: []string{"invisible laser light: never look into a fibre or connector"},
	}
	c.Alarm.Related = []alarms.Key{{Resource: "unit/nq-room", Type: "rf-level-deviation"}}
	return c
}

func TestWebhookBodyGolden(t *testing.T) {
	c := cableCut()
	m := notify.AlarmMessage("/lightwell/quay", &c)
	body, err := notify.Encode(&m)
	require.NoError(t, err)
	var pretty bytes.Buffer
	require.NoError(t, json.Indent(&pretty, body, "", "  "))
	pretty.WriteByte('\n')
	const file = "testdata/cable-cut.json"
	if *update {
		require.NoError(t, os.WriteFile(file, pretty.Bytes(), 0o644))
	}
	want, err := os.ReadFile(file)
	require.NoError(t, err)
	require.Equal(t, string(want), pretty.String())
}

// The attributes as CloudEvents 1.0 wants them, read by its own library.
func TestEventAttributes(t *testing.T) {
	c := cableCut()
	c.Kind = alarms.SeverityChanged
	m := notify.AlarmMessage("/lightwell/quay", &c)
	body, err := notify.Encode(&m)
	require.NoError(t, err)
	var e cloudevents.Event
	require.NoError(t, json.Unmarshal(body, &e))
	require.NoError(t, e.Validate())
	require.Equal(t, "1.0", e.SpecVersion())
	require.Equal(t, "lightwell.alarm.severity_changed", e.Type())
	require.Equal(t, "/lightwell/quay", e.Source())
	require.Equal(t, "cable/nq-riser", e.Subject())
	require.True(t, c.Time.Equal(e.Time()))
	require.Equal(t, "00000000000000000042", e.Extensions()["sequence"])
	require.Equal(t, "application/json", e.DataContentType())
	var a notify.Alarm
	require.NoError(t, e.DataAs(&a))
	require.Equal(t, alarms.Critical, a.Severity)
	require.Equal(t, []string{"link/nq", "link/nq-2"}, a.Impacted)
	require.Equal(t, c.Alarm.Details.Cautions, a.Cautions)
	require.False(t, a.CautionsShortened)
}

func TestEventIDs(t *testing.T) {
	id := func(source string, change alarms.Change) string {
		m := notify.AlarmMessage(source, &change)
		return m.ID
	}
	a := change(1, "a", alarms.Raised, alarms.Major)
	require.Equal(t, id("/x", a), id("/x", a), "published again after a crash: no second event")
	require.NotContains(t, id("/x", a), ".", "a dot would move the limits of the signed text")
	b := a
	b.Seq++
	require.NotEqual(t, id("/x", a), id("/x", b))
	b = a
	b.Alarm.ID = "b"
	require.NotEqual(t, id("/x", a), id("/x", b))
	require.NotEqual(t, id("/x", a), id("/y", a))
}

func TestLongEventIsCut(t *testing.T) {
	c := cableCut()
	for i := range 5000 {
		c.Alarm.Details.Impacted = append(c.Alarm.Details.Impacted, fmt.Sprintf("link/%04d-%s", i, strings.Repeat("é", 200)))
		c.Alarm.Related = append(c.Alarm.Related, alarms.Key{Resource: fmt.Sprint("unit/", i), Type: "rf-level-deviation"})
	}
	c.Alarm.Text = strings.Repeat("long – ", 10_000)
	c.Alarm.Resource = "cable/" + strings.Repeat("x", 100_000)
	c.Alarm.Details.Cautions = []string{strings.Repeat("mind the laser; ", 10_000)}
	m := notify.AlarmMessage("/lightwell/quay", &c)
	body, err := notify.Encode(&m)
	require.NoError(t, err)
	require.LessOrEqual(t, len(body), notify.MaxBody)
	var e cloudevents.Event
	require.NoError(t, json.Unmarshal(body, &e))
	var a notify.Alarm
	require.NoError(t, e.DataAs(&a))
	require.Equal(t, 5002, len(a.Impacted)+a.ImpactedOmitted)
	require.Equal(t, 5001, len(a.Related)+a.RelatedOmitted)
	require.NotEmpty(t, a.Impacted, "cut, not emptied")
	require.True(t, strings.HasSuffix(a.Text, "…"))
	require.True(t, a.CautionsShortened)
	require.NotContains(t, string(body), "\uFFFD", "no character is split")
	require.Len(t, c.Alarm.Details.Impacted, 5002, "the alarm itself stays whole")
}
