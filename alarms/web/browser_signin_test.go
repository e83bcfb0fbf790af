package web_test

import (
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
)

// TestSignInInABrowser signs in by keyboard, arrives where one wanted to go,
// and has a page that stays open say in words that its session is over.
func TestSignInInABrowser(t *testing.T) {
	s := newStage(t, makeFleet(1, 4), time.Now())
	s.trouble(time.Now())
	url := s.serve("127.0.0.1:0")
	ctx, seen := browser(t)

	require.NoError(t, chromedp.Do(ctx, chromedp.Navigate(url+"/alarms?state=all")))
	require.Equal(t, "Sign in", text(t, ctx, "h1"))
	require.NoError(t, chromedp.Do(ctx, chromedp.SendKeys(chromedp.ID("name"), "noc-1"), chromedp.SendKeys(chromedp.ID("secret"), "guess\r")))
	until(t, ctx, `document.querySelector("[role=alert]").textContent === "Name or secret is not known."`)
	require.NoError(t, chromedp.Do(ctx, chromedp.SendKeys(chromedp.ID("secret"), operateSecret+"\r")))
	until(t, ctx, `location.pathname + location.search === "/alarms?state=all"`)
	until(t, ctx, `document.getElementById("live").textContent === "Live."`)
	require.Contains(t, text(t, ctx, ".who"), "noc-1, may operate")
	cookie, err := chromedp.Run(ctx, chromedp.Evaluate[string](`document.cookie`))
	require.NoError(t, err)
	require.Empty(t, cookie, "no script reads the cookie")

	require.NoError(t, s.server.SetTokens(tokens[:1]))
	s.engine.change()
	until(t, ctx, `document.getElementById("live").textContent.startsWith("Not live: you are signed out.")`)
	require.NoError(t, s.server.SetTokens(tokens))

	require.NoError(t, chromedp.Do(ctx, chromedp.Navigate(url+"/")))
	require.Equal(t, "Sign in", text(t, ctx, "h1"), "a session that has ended stays so")
	require.NoError(t, chromedp.Do(ctx, chromedp.SendKeys(chromedp.ID("name"), "noc-1"), chromedp.SendKeys(chromedp.ID("secret"), operateSecret+"\r")))
	until(t, ctx, `document.querySelector(".who button") !== null`)
	require.NoError(t, chromedp.Do(ctx, chromedp.Click(chromedp.CSS(".who button"))))
	until(t, ctx, `location.pathname === "/sign-in" && document.querySelector("h1").textContent === "Sign in"`)

	seen.mu.Lock()
	defer seen.mu.Unlock()
	for _, asked := range seen.asked {
		require.True(t, strings.HasPrefix(asked, url), "asked outside: %s", asked)
		require.NotContains(t, asked, operateSecret)
	}
	for _, text := range seen.texts {
		require.Contains(t, text, "401", "the browser complains")
	}
}
