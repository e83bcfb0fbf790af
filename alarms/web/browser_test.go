package web_test

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/web"
	"lightwell/collector"
	"lightwell/collector/need"
)

// serve runs the stage's server until the test ends.
func (s *stage) serve(addr string) string {
	require.NoError(s.t, s.server.Listen(addr))
	ctx, stop := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- s.server.Run(ctx) }()
	s.t.Cleanup(func() {
		stop()
		require.NoError(s.t, <-ended)
	})
	return s.server.URL()
}

// complaints collects what a browser has to complain about, and every address
// it asks for.
type complaints struct {
	mu    sync.Mutex
	texts []string
	asked []string
}

func (c *complaints) listen(event any) {
	c.mu.Lock()
	defer c.mu.Unlock()
	switch e := event.(type) {
	case *log.EventEntryAdded:
		c.texts = append(c.texts, string(e.Entry.Level)+" "+e.Entry.Text+" "+e.Entry.URL)
	case *runtime.EventExceptionThrown:
		c.texts = append(c.texts, "exception: "+e.ExceptionDetails.Text)
	case *network.EventRequestWillBeSent:
		c.asked = append(c.asked, e.Request.URL)
	}
}

// browser starts Chromium with a profile of its own.
func browser(t *testing.T) (context.Context, *complaints) {
	program := need.Program(t, "chromium", "chromium-browser", "google-chrome")
	alloc, stopAlloc := chromedp.NewExecAllocator(context.Background(),
		chromedp.ExecPath(program), chromedp.UserDataDir(t.TempDir()), chromedp.WindowSize(1280, 1000),
		chromedp.Flag("headless", true), chromedp.Flag("hide-scrollbars", true), chromedp.NoSandbox, chromedp.DisableGPU, chromedp.NoFirstRun,
		chromedp.Flag("disable-quic", true), chromedp.Flag("disable-background-networking", true),
		chromedp.Flag("disable-component-update", true), chromedp.Flag("disable-sync", true))
	ctx, stop := chromedp.NewContext(alloc)
	t.Cleanup(func() {
		_ = chromedp.Cancel(ctx)
		stop()
		stopAlloc()
	})
	require.NoError(t, chromedp.Do(ctx))
	bounded, cancel := context.WithTimeout(ctx, 90*time.Second)
	t.Cleanup(cancel)
	c := &complaints{}
	require.NoError(t, chromedp.Listen(ctx, c.listen))
	for _, enable := range []func() error{
		func() error { _, err := chromedp.Call(ctx, network.Enable, network.EnableParams{}); return err },
		func() error { _, err := chromedp.Call(ctx, log.Enable, cdp.Empty{}); return err },
		func() error { _, err := chromedp.Call(ctx, runtime.Enable, cdp.Empty{}); return err },
	} {
		require.NoError(t, enable())
	}
	return bounded, c
}

// until waits for an expression to become true; unlike the library's own poll
// it goes on when the page changes meanwhile.
func until(t *testing.T, ctx context.Context, expression string) {
	t.Helper()
	require.Eventually(t, func() bool {
		yes, err := chromedp.Run(ctx, chromedp.Evaluate[bool](expression))
		return err == nil && yes
	}, 20*time.Second, 50*time.Millisecond, expression)
}

func text(t *testing.T, ctx context.Context, selector chromedp.CSS) string {
	t.Helper()
	out, err := chromedp.Run(ctx, chromedp.TextContent(selector))
	require.NoError(t, err)
	return strings.Join(strings.Fields(out), " ")
}

func TestLivePage(t *testing.T) {
	s := newStage(t, makeFleet(3, 4), time.Now(), withoutTokens)
	url := s.serve("127.0.0.1:0")
	ctx, seen := browser(t)

	require.NoError(t, chromedp.Do(ctx, chromedp.Navigate(url)))
	require.Equal(t, "Nothing needs attention", text(t, ctx, "h1"))
	until(t, ctx, `document.getElementById("live").textContent === "Live."`)

	// A change of the plant appears by itself.
	s.trouble(time.Now())
	s.engine.change()
	until(t, ctx, `document.querySelector("h1").textContent === "3 causes need attention"`)
	require.Contains(t, text(t, ctx, "#now"), "Cable north-quay-riser is cut")

	// Acknowledged by keyboard alone.
	id := s.id("cable/north-quay-riser", "cable-cut")
	require.NoError(t, chromedp.Do(ctx, chromedp.Focus(chromedp.ID("ack-"+id)), chromedp.KeyEvent("\r")))
	until(t, ctx, `document.querySelector("#alarm-`+id+` .op").textContent === "being handled by local"`)
	a, _ := s.list.Alarm(id)
	require.Equal(t, alarms.OperatorAck, a.Operator)
	require.Equal(t, "local", a.Actions[0].Operator)

	// Focus stays where it is while the list around it changes.
	small := s.id("unit/a2-room", "supply-redundancy-lost")
	_, err := chromedp.Run(ctx, chromedp.Evaluate[chromedp.Void](`document.querySelector('#alarm-`+small+` .what a').focus()`))
	require.NoError(t, err)
	_, err = s.list.Close(id, alarms.Operation{Operator: "noc-2"})
	require.NoError(t, err)
	s.engine.change()
	until(t, ctx, `document.querySelector("h1").textContent === "2 causes need attention"`)
	until(t, ctx, `document.activeElement.getAttribute("href") === "/alarms/`+small+`"`)

	// What somebody is writing is not swept away by a change, and does not
	// overwrite what somebody else did meanwhile.
	require.NoError(t, chromedp.Do(ctx, chromedp.Navigate(url+"/alarms/"+id), chromedp.SendKeys(chromedp.ID("text"), "half a sent")))
	_, err = s.list.Comment(id, alarms.Operation{Operator: "noc-2", Text: "crew is on its way"})
	require.NoError(t, err)
	s.engine.change()
	until(t, ctx, `document.getElementById("history").textContent.includes("crew is on its way")`)
	until(t, ctx, `document.getElementById("live").textContent.startsWith("Live, but the part you are writing in waits")`)
	typed, err := chromedp.Run(ctx, chromedp.Value(chromedp.ID("text")))
	require.NoError(t, err)
	require.Equal(t, "half a sent", typed)
	require.NoError(t, chromedp.Do(ctx, chromedp.Click(chromedp.ID("do-reopen"))))
	until(t, ctx, `document.querySelector("h1").textContent === "Conflict"`)

	seen.mu.Lock()
	defer seen.mu.Unlock()
	require.NotEmpty(t, seen.asked)
	for _, asked := range seen.asked {
		require.True(t, strings.HasPrefix(asked, url), "asked outside: %s", asked)
	}
	for _, text := range seen.texts {
		require.Contains(t, text, "409", "the browser complains")
	}
}

// TestPageSurvivesARestart: a page says in words that it is stale, and comes
// back by itself when the daemon does.
func TestPageSurvivesARestart(t *testing.T) {
	before := newStage(t, makeFleet(2, 2), time.Now(), withoutTokens)
	require.NoError(t, before.server.Listen("127.0.0.1:0"))
	life, end := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- before.server.Run(life) }()
	url := before.server.URL()

	ctx, _ := browser(t)
	require.NoError(t, chromedp.Do(ctx, chromedp.Navigate(url)))
	until(t, ctx, `document.getElementById("live").textContent === "Live."`)
	end()
	require.NoError(t, <-ended)
	until(t, ctx, `document.getElementById("live").textContent.startsWith("Not live: no word from the daemon since")`)

	after := newStage(t, makeFleet(2, 2), time.Now(), withoutTokens)
	after.trouble(time.Now())
	after.serve(strings.TrimPrefix(url, "http://"))
	until(t, ctx, `document.querySelector("h1").textContent === "3 causes need attention"`)
	until(t, ctx, `document.getElementById("live").textContent === "Live."`)
}

// TestPictures writes pictures of the pages for a person to look at.
func TestPictures(t *testing.T) {
	folder := os.Getenv("LIGHTWELL_PICTURES")
	if folder == "" {
		t.Skip("set LIGHTWELL_PICTURES to a folder to get pictures of the pages")
	}
	s := newStage(t, makeFleet(6, 5), time.Now(), withoutTokens, func(c *web.Config) { c.Calendar = calendar{"site-3"} })
	s.trouble(time.Now())
	for i := range s.engine.units {
		if v := &s.engine.units[i]; v.Unit.Site == "site-2" {
			*v = healthy(v.Unit, 1.7*float64(i%3), time.Now())
		}
	}
	s.engine.units[1] = healthy(s.engine.units[1].Unit, 2.04, time.Now())
	s.engine.found = []alarms.Finding{*dirtyConnector()}
	s.engine.units[22].Err, s.engine.units[22].Failures = errSilent, 3
	s.engine.units[45].Baselined = false
	require.NoError(t, s.book.Begin([]string{"a1-room"}, "engineer", time.Now().Add(-time.Hour)))
	for i := range 12 {
		s.book.Observe(s.poll("a1-room", time.Now().Add(time.Duration(i-12)*time.Minute)))
	}
	url := s.serve("127.0.0.1:0")
	ctx, _ := browser(t)
	for name, path := range map[string]string{
		"fleet": "/", "site": "/sites/north-quay", "unit": "/units/a1-room", "link": "/links/b1", "link-found": "/links/a1", "alarms": "/alarms",
		"alarm": "/alarms/" + s.id("cable/north-quay-riser", "cable-cut"), "problem": "/units/none",
	} {
		for _, look := range []string{"light", "dark"} {
			for size, width := range map[string]int64{"wide": 1280, "phone": 390} {
				_, err := chromedp.Call(ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
					Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: look}}})
				require.NoError(t, err)
				require.NoError(t, chromedp.Do(ctx, chromedp.EmulateViewport(width, 900), chromedp.Navigate(url+path)))
				picture, err := chromedp.Run(ctx, chromedp.FullScreenshot(100))
				require.NoError(t, err)
				require.NoError(t, os.WriteFile(filepath.Join(folder, strings.Join([]string{name, look, size}, "-")+".png"), picture, 0o644))
			}
		}
	}
	_, err := chromedp.Call(ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: "print"})
	require.NoError(t, err)
	require.NoError(t, chromedp.Do(ctx, chromedp.EmulateViewport(794, 1123), chromedp.Navigate(url+"/sites/north-quay")))
	paper, err := chromedp.Run(ctx, chromedp.FullScreenshot(100))
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(folder, "site-print.png"), paper, 0o644))
}

type calendar struct{ site string }

func (c calendar) During(resources []string, _ time.Time) (collector.PlannedWork, bool) {
	return collector.PlannedWork{ID: "mast-paint"}, resources[0] == "site/"+c.site
}
