package web_test

import (
	"fmt"
	"net/http"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/notify"
	"lightwell/alarms/web"
	"lightwell/collector/need"
)

// violation is what the audit found at one rule.
type violation struct {
	ID    string `json:"id"`
	Help  string `json:"help"`
	Nodes []struct {
		HTML    string `json:"html"`
		Summary string `json:"failureSummary"`
	} `json:"nodes"`
}

// outcome is what an audit says of a page.
type outcome struct {
	Violations []violation `json:"violations"`
	Passes     int         `json:"passes"` // rules that had something to judge
}

// audit runs axe-core on the page that is open: all its rules for the Web
// Content Accessibility Guidelines 2.2, levels A and AA.
const audit = `axe.run(document, {runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]})
	.then(r => ({violations: r.violations, passes: r.passes.length}))`

func violations(found []violation) string {
	var out strings.Builder
	for _, v := range found {
		fmt.Fprintf(&out, "%s: %s\n", v.ID, v.Help)
		for _, n := range v.Nodes {
			fmt.Fprintf(&out, "    %.200s\n    %s\n", n.HTML, strings.ReplaceAll(n.Summary, "\n", "\n    "))
		}
	}
	return out.String()
}

// TestAccessibility audits every page, light and dark, wide and as a phone
// shows it.
func TestAccessibility(t *testing.T) {
	axe, err := os.ReadFile(need.File(t, "AXE_CORE", "axe.min.js of the npm package axe-core"))
	require.NoError(t, err)
	h := &hooks{entries: []notify.Entry{{Endpoint: "noc", ID: "evt_1", Alarm: "a", Created: time.Now(), State: notify.Dead, Attempts: 9, Reason: "answered 500"}}}
	s := newVisited(t, withoutTokens, withJournal(h, &journal{}), func(c *web.Config) { c.Hosts = []string{"example.com", "127.0.0.1"} })
	s.trouble(time.Now())
	s.engine.found = []alarms.Finding{*dirtyConnector()}
	status, visit := s.post("/visits", kims, "")
	require.Equal(t, http.StatusOK, status, visit)
	url := s.serve("127.0.0.1:0")
	locked := newStage(t, makeFleet(1, 1), time.Now()).serve("127.0.0.1:0")
	ctx, _ := browser(t)
	for _, page := range []string{
		url + "/", url + "/sites/north-quay", url + "/units/a1-room", url + "/links/a1", url + "/alarms", url + "/alarms?state=all",
		url + "/alarms/" + s.id("cable/north-quay-riser", "cable-cut"), url + "/visits", url + "/visits/" + visit["id"].(string), url + "/deliveries",
		url + "/sites/north-quay/brief", url + "/visit-order", locked + "/alarms",
	} {
		for _, look := range []string{"light", "dark"} {
			for _, width := range []int64{1280, 390} {
				t.Run(fmt.Sprint(strings.TrimPrefix(page, url), " ", look, " ", width), func(t *testing.T) {
					_, err := chromedp.Call(ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
						Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: look}}})
					require.NoError(t, err)
					require.NoError(t, chromedp.Do(ctx, chromedp.EmulateViewport(width, 900), chromedp.Navigate(page)))
					require.NotContains(t, text(t, ctx, "h1"), "Not found")
					_, err = chromedp.Run(ctx, chromedp.Evaluate[chromedp.Void](string(axe)))
					require.NoError(t, err)
					found, err := chromedp.Run(ctx, chromedp.Evaluate[outcome](audit, chromedp.EvalAwaitPromise))
					require.NoError(t, err)
					require.Empty(t, found.Violations, violations(found.Violations))
					require.Greater(t, found.Passes, 5, "the audit must have something to judge")
				})
			}
		}
	}
	t.Run("what is wrong is found", func(t *testing.T) {
		found, err := chromedp.Run(ctx, chromedp.Evaluate[outcome](`document.documentElement.removeAttribute("lang"), `+audit, chromedp.EvalAwaitPromise))
		require.NoError(t, err)
		require.Len(t, found.Violations, 1)
		require.Equal(t, "html-has-lang", found.Violations[0].ID)
	})
}
