package web_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
)

// findingTexts are what a reader of a page must get of a finding.
var findingTexts = []string{
	"Likely dirty or loose connector: downlink of link a1, 2.0 dB.", "86 %", "Bend at downlink of link a1 10 %",
	"RF moved &lt;4.0&gt; dB for 2.0 dB of light", "cleaning changes nothing", "the loss at both wavelengths", "Inspect and clean", "scope, cleaner", "never look into a fibre",
}

func TestFindingOnThePages(t *testing.T) {
	s := newStage(t, makeFleet(1, 2), day)
	key := alarms.Key{Resource: "unit/a1-room/optical_receive_power", Type: "optical-signal-degraded"}
	s.list.Apply(day, alarms.Update{Key: key, Site: "north-quay", Active: true, Severity: alarms.Minor, Text: "weak", Details: alarms.Details{Finding: dirtyConnector()}})
	for _, text := range findingTexts[1:] {
		require.NotContains(t, s.get("/sites/north-quay").Body.String(), text, "nothing was found at the site yet")
	}
	s.engine.found = []alarms.Finding{*dirtyConnector()}
	s.engine.change()
	for _, path := range []string{"/sites/north-quay", "/alarms/" + alarms.NewID(key)} {
		body := s.get(path).Body.String()
		for _, text := range findingTexts {
			require.Contains(t, body, text, path)
		}
	}
	why := `<p class="why">` + findingTexts[0]
	require.Contains(t, s.get("/").Body.String(), why, "the line of the alarm")
	require.Equal(t, 2, strings.Count(s.get("/sites/north-quay").Body.String(), why), "the line of the alarm, and the drawing of the link")
}

func TestFindingInTheAPI(t *testing.T) {
	s := newStage(t, makeFleet(2, 2), day)
	s.engine.found = []alarms.Finding{*dirtyConnector()}
	s.engine.change()
	site := decode(t, s.get("/api/v1/sites/north-quay"))
	finding := site["findings"].([]any)[0].(map[string]any)
	require.Equal(t, "connector-dirty", finding["cause"])
	require.Equal(t, "likely", finding["wording"])
	require.Equal(t, []any{"never look into a fibre"}, finding["cautions"])
	links := decode(t, s.get("/api/v1/links"))["items"].([]any)
	told := 0
	for _, l := range links {
		if l := l.(map[string]any); l["findings"] != nil {
			told++
			require.Equal(t, "a1", l["id"])
		}
	}
	require.Equal(t, 1, told, "at the link that it touches")
}
