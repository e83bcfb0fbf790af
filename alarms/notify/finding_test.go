package notify

import (
	"encoding/json"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
)

func found() *alarms.Finding {
	size := 2.04
	return &alarms.Finding{
		Cause: "connector-dirty", Title: "Dirty or loose connector", Wording: alarms.Likely, Resource: "link/a", Place: "downlink of link a", Direction: "downlink",
		Size: &size, Unit: "dB", Probability: 0.86, Evidence: []string{"RF moved -4.0 dB for -2.0 dB of light"}, Disproof: "cleaning changes nothing",
		Actions: []string{"clean"}, Bring: []string{"cleaner"}, Cautions: []string{"invisible"}, Others: []alarms.Alternative{{Cause: "fibre-bend", Probability: 0.1}},
	}
}

// dataOf encodes an alarm with a finding and returns the data of the event.
func dataOf(t *testing.T, f *alarms.Finding) (Alarm, int) {
	at := time.Date(2026, 1, 2, 3, 4, 5, 0, time.UTC)
	a := alarms.Alarm{Key: alarms.Key{Resource: "unit/a/optical_receive_power", Type: "optical-signal-degraded"}, ID: "x", Severity: alarms.Minor, Text: "weak", Details: alarms.Details{Finding: f}}
	m := alarmMessage("/lightwell/test", &alarms.Change{Seq: 1, Time: at, Kind: alarms.Raised, Alarm: a})
	body, err := encode(&m)
	require.NoError(t, err)
	var event struct {
		Data Alarm `json:"data"`
	}
	require.NoError(t, json.Unmarshal(body, &event))
	return event.Data, len(body)
}

func TestFindingIsTold(t *testing.T) {
	data, _ := dataOf(t, found())
	require.Equal(t, "Likely dirty or loose connector: downlink of link a, 2.0 dB.", data.Finding.Text)
	require.Equal(t, alarms.Likely, data.Finding.Wording)
	require.Equal(t, []string{"invisible"}, data.Finding.Cautions)
	require.False(t, data.Finding.CautionsShortened)
	require.Equal(t, "fibre-bend", data.Finding.Others[0].Cause)
	data, _ = dataOf(t, nil)
	require.Nil(t, data.Finding)
}

func TestLongFindingIsCut(t *testing.T) {
	f := found()
	f.Place = strings.Repeat("p", 100_000)
	f.Disproof = strings.Repeat("d", 100_000)
	for range 500 {
		f.Evidence = append(f.Evidence, strings.Repeat("e", 3000))
		f.Cautions = append(f.Cautions, strings.Repeat("c", 300))
	}
	data, size := dataOf(t, f)
	require.LessOrEqual(t, size, MaxBody)
	require.Equal(t, 501-len(data.Finding.Evidence), data.Finding.EvidenceOmitted)
	require.True(t, data.Finding.CautionsShortened, "nobody may take them for complete")
	require.Len(t, f.Evidence, 501, "the finding itself is shared")
}
