package web_test

import (
	"net/http"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms/notify"
)

func TestDeliveriesPage(t *testing.T) {
	h := &hooks{}
	for i := range 60 {
		h.entries = append(h.entries, notify.Entry{Endpoint: "noc", ID: "evt_1", Alarm: "a", Type: "lightwell.alarm.raised", Created: day.Add(time.Duration(i) * time.Minute),
			State: notify.Dead, Attempts: 9, Reason: "answered <500>", Body: []byte("secret")})
	}
	j := &journal{}
	s := newStage(t, makeFleet(1, 2), day, withJournal(h, j))
	body := s.get("/deliveries").Body.String()
	for _, want := range []string{"noc: failing", "0 messages waiting", "answered &lt;500&gt;", "and 10 more", "Send all 1 again", `href="/deliveries" aria-current="page"`} {
		require.Contains(t, body, want)
	}
	require.NotContains(t, body, "secret")
	require.NotContains(t, s.do(call{method: "GET", path: "/deliveries", secret: seeSecret}).Body.String(), "Send all")
	form := map[string]string{"Content-Type": "application/x-www-form-urlencoded"}
	for _, c := range []struct {
		body, secret string
		status       int
	}{{"endpoint=noc", operateSecret, http.StatusSeeOther}, {"endpoint=none", operateSecret, http.StatusNotFound}, {"endpoint=noc", seeSecret, http.StatusForbidden}} {
		require.Equal(t, c.status, s.do(call{method: "POST", path: "/deliveries", body: c.body, secret: c.secret, header: form}).Code)
	}
	require.Len(t, j.lines, 1)
	require.Equal(t, "noc-1", j.lines[0].Who)
	without := newStage(t, makeFleet(1, 1), day)
	require.Equal(t, http.StatusNotFound, without.get("/deliveries").Code)
	require.NotContains(t, without.get("/").Body.String(), "Deliveries")
}
