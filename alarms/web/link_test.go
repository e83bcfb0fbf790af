package web_test

import (
	"encoding/xml"
	"errors"
	"io"
	"net/http"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/web"
	"lightwell/collector"
)

func TestLinkPage(t *testing.T) {
	s := newStage(t, makeFleet(1, 2), time.Now())
	s.trouble(time.Now())
	s.engine.units[1] = healthy(s.engine.units[1].Unit, 2.04, time.Now())
	s.engine.found = []alarms.Finding{*dirtyConnector()}
	body := s.get("/links/a1").Body.String()
	for _, want := range []string{
		"<h1>Link a1", "loss 3.87 dB, &#43;2.04 dB against the baseline", "! −0.83 dBm (−2.04 dB)", "Cable north-quay-riser is cut", "Likely dirty or loose connector: downlink of link a1, 2.0 dB.",
		`class="is" d="M80 `, `class="was" d="M80 `, `/links/a1/trend.svg?direction=uplink&amp;span=month`, `<a href="/links/a1?span=month" aria-current="true">1 month</a>`, "The margin is not known.",
	} {
		require.Contains(t, body, want)
	}
	require.Contains(t, s.get("/links/a2").Body.String(), "0.03 dB against the baseline")
	for _, svg := range regexp.MustCompile(`(?s)<svg viewBox="0 0 740.*?</svg>`).FindAllString(body, -1) {
		for d := xml.NewDecoder(strings.NewReader(svg)); ; {
			_, err := d.Token()
			if errors.Is(err, io.EOF) {
				break
			}
			require.NoError(t, err)
		}
		require.NotRegexp(t, `NaN|Inf|style=`, svg)
	}
	require.Equal(t, http.StatusNotFound, s.get("/links/none").Code)
	require.Equal(t, http.StatusBadRequest, s.get("/links/a1?span=age").Code)
}

// TestLinkPageWithoutReadings: what is not known is not drawn.
func TestLinkPageWithoutReadings(t *testing.T) {
	s := newStage(t, makeFleet(1, 1), time.Now())
	for i := range s.engine.units {
		s.engine.units[i] = alarms.UnitView{Unit: s.engine.units[i].Unit}
	}
	body := s.get("/links/a1").Body.String()
	require.Contains(t, body, "loss not known")
	require.NotContains(t, body, `class="is"`)
	require.NotRegexp(t, `NaN|Inf\b`, body)
}

func TestLinkLimitsAreDrawn(t *testing.T) {
	fleet := makeFleet(1, 1)
	least, most := -12.0, 6.0
	for i := range fleet.Units {
		fleet.Units[i].Equipment.Limits = collector.Limits{ReceivePowerMinDBm: &least, ReceivePowerMaxDBm: &most}
	}
	s := newStage(t, collector.NewFleet(*fleet), time.Now())
	body := s.get("/links/a1").Body.String()
	require.Contains(t, body, "least −12.0")
	require.Contains(t, body, "most 6.0")
}

func TestLinkTrend(t *testing.T) {
	p := &past{}
	s := newStage(t, makeFleet(1, 1), time.Now(), func(c *web.Config) { c.History = p })
	for _, span := range []string{"day", "month", "all"} {
		w := s.get("/links/a1/trend.svg?direction=downlink&span=" + span)
		require.Equal(t, http.StatusOK, w.Code, span)
		require.Equal(t, "image/svg+xml", w.Header().Get("Content-Type"))
		require.Equal(t, "a1-room", p.asked.Unit)
	}
	require.Equal(t, http.StatusBadRequest, s.get("/links/a1/trend.svg?direction=downlink").Code)
	require.Equal(t, http.StatusNotFound, s.get("/links/a1/trend.svg?direction=over&span=day").Code)
	require.Equal(t, http.StatusNotFound, s.get("/links/none/trend.svg?direction=uplink&span=day").Code)
	require.Equal(t, http.StatusUnauthorized, s.do(call{method: "GET", path: "/links/a1/trend.svg?direction=uplink&span=day"}).Code)
}
