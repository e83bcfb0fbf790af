package web_test

import (
	"fmt"
	"net/url"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"lightwell/alarms"
)

func TestManyAlarmsByForm(t *testing.T) {
	s := newStage(t, makeFleet(1, 4), time.Now())
	s.trouble(time.Now())
	one, two := s.id("unit/a2-room", "supply-redundancy-lost"), s.id("unit/a3-roof", "antenna-feed-fault")
	pick := func(ids ...string) string {
		q := url.Values{"do": {"acknowledge"}, "back": {"/alarms?state=new"}}
		for _, id := range ids {
			a, _ := s.list.Alarm(id)
			q.Add("pick", fmt.Sprintf("%s:%d", id, a.Version))
		}
		return q.Encode()
	}
	stale := pick(one, two)
	form := map[string]string{"Content-Type": "application/x-www-form-urlencoded"}
	for _, c := range []struct {
		name, body, secret string
		status             int
		says               string
	}{
		{"may only see", pick(one), seeSecret, 403, "operate"},
		{"none chosen", pick(), operateSecret, 400, "No alarm is chosen"},
		{"nothing to do", "pick=" + one + "%3A1", operateSecret, 400, "does not say what to do"},
		{"not of this page", "do=close&pick=x", operateSecret, 400, "not one that this page gave"},
		{"shelve for ever", "do=shelve&pick=x%3A1", operateSecret, 400, "for how long"},
		{"both", pick(one, two), operateSecret, 303, ""},
		{"changed meanwhile", stale, operateSecret, 409, "0 of 2 alarms done"},
	} {
		w := s.do(call{method: "POST", path: "/alarms", body: c.body, secret: c.secret, header: form})
		require.Equal(t, c.status, w.Code, "%s: %s", c.name, w.Body)
		require.Contains(t, w.Body.String(), c.says, c.name)
	}
	for _, id := range []string{one, two} {
		a, _ := s.list.Alarm(id)
		require.Equal(t, alarms.OperatorAck, a.Operator)
	}
	require.Contains(t, s.get("/alarms").Body.String(), "3 alarms announced")
}

// TestAlarmsByKeyboard: one person chooses and acknowledges by keys alone,
// another sees it on an own screen.
func TestAlarmsByKeyboard(t *testing.T) {
	s := newStage(t, makeFleet(2, 4), time.Now(), withoutTokens)
	s.trouble(time.Now())
	base := s.serve("127.0.0.1:0")
	one, _ := browser(t)
	two, _ := browser(t)
	first, second := s.id("cable/north-quay-riser", "cable-cut"), s.id("unit/a2-room", "supply-redundancy-lost")
	require.NoError(t, chromedp.Do(two, chromedp.Navigate(base)))
	require.NoError(t, chromedp.Do(one, chromedp.Navigate(base+"/alarms"), chromedp.Focus(chromedp.ID("pick-"+first)), chromedp.KeyEvent("xjxt")))
	until(t, one, `document.activeElement.id === "together-do"`)
	until(t, one, `document.getElementById("pick-`+second+`").checked`)
	require.NoError(t, chromedp.Do(one, chromedp.KeyEvent("\t\t\t")))
	until(t, one, `document.activeElement.textContent === "Do it with all chosen"`)
	require.NoError(t, chromedp.Do(one, chromedp.KeyEvent("\r")))
	until(t, one, `document.querySelector("h1").textContent === "Alarms" && document.querySelector("#list .op").textContent === "being handled by local"`)
	for _, id := range []string{first, second} {
		until(t, two, `document.querySelector("#alarm-`+id+` .op").textContent === "being handled by local"`)
	}
}
