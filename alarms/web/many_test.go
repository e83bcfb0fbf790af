package web_test

import (
	"encoding/json"
	"fmt"
	"net/http"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/web"
)

func TestActWithManyAlarms(t *testing.T) {
	s := newStage(t, makeFleet(1, 4), time.Now())
	s.trouble(time.Now())
	supply, feed := s.id("unit/a2-room", "supply-redundancy-lost"), s.id("unit/a3-roof", "antenna-feed-fault")
	shelved := s.id("unit/a4-room", "sensor-broken")
	seen, _ := s.list.Alarm(supply)
	post := func(secret, body string) (int, web.Acted) {
		w := s.do(call{method: "POST", path: "/api/v1/alarms/actions", body: body, secret: secret})
		var out web.Acted
		_ = json.Unmarshal(w.Body.Bytes(), &out)
		return w.Code, out
	}
	status, out := post(operateSecret, fmt.Sprintf(`{"action":"acknowledge","text":"night shift","alarms":[{"id":%q,"version":%d},{"id":%q},{"id":"gone"},{"id":%q},{"id":%q,"version":1000000}]}`,
		supply, seen.Version, feed, shelved, feed))
	require.Equal(t, http.StatusOK, status)
	require.Equal(t, 2, out.Done)
	require.Equal(t, 3, out.Refused)
	var got []int
	for _, item := range out.Items {
		got = append(got, item.Status)
		require.Equal(t, item.Done, item.Detail == "")
	}
	require.Equal(t, []int{200, 200, 404, 409, 412}, got)
	for i, id := range []string{supply, feed} {
		a, _ := s.list.Alarm(id)
		require.Equal(t, alarms.OperatorAck, a.Operator)
		require.Equal(t, "noc-1", a.Actions[0].Operator)
		require.Equal(t, "night shift", a.Actions[0].Text)
		require.Equal(t, a.Version, out.Items[i].Version)
	}

	status, out = post(operateSecret, fmt.Sprintf(`{"action":"shelve","until":%q,"alarms":[{"id":%q}]}`, time.Now().Add(time.Hour).UTC().Format(time.RFC3339), supply))
	require.Equal(t, http.StatusOK, status)
	require.Equal(t, alarms.Shelved, out.Items[0].Operator)

	status, out = post(operateSecret, fmt.Sprintf(`{"action":"shelve","alarms":[{"id":%q}]}`, feed))
	require.Equal(t, http.StatusOK, status)
	require.Equal(t, http.StatusUnprocessableEntity, out.Items[0].Status, "without an end")

	for want, body := range map[string]string{
		"no action": `{"alarms":[{"id":"a"}]}`, "unknown": `{"action":"explode","alarms":[{"id":"a"}]}`,
		"no alarms": `{"action":"close","alarms":[]}`, "no id": `{"action":"close","alarms":[{}]}`,
	} {
		status, _ = post(operateSecret, body)
		require.Equal(t, http.StatusUnprocessableEntity, status, want)
	}
	status, _ = post(seeSecret, `{"action":"close","alarms":[{"id":"a"}]}`)
	require.Equal(t, http.StatusForbidden, status)
}
