package web_test

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/web"
	"lightwell/alarms/web/access"
	"lightwell/collector"
)

const administerSecret = "administer-secret-0123456789abcdef"

func withAdministrator(c *web.Config) {
	c.Tokens = append(slices.Clone(c.Tokens), access.Token{Name: "chief", Secret: collector.NewSecret(administerSecret), Role: access.Administer})
}

func post(s *stage, path, secret, body string) *httptest.ResponseRecorder {
	return s.do(call{method: "POST", path: path, secret: secret, body: body})
}

func TestPurgeAndCompress(t *testing.T) {
	s := newStage(t, makeFleet(3, 4), time.Now(), withAdministrator)
	s.trouble(time.Now())
	before := len(s.list.Alarms(alarms.Filter{}))
	require.Equal(t, http.StatusForbidden, post(s, "/api/v1/alarms/purge", operateSecret, `{}`).Code, "it removes what others may want to see")
	cleared := len(s.list.Alarms(alarms.Filter{Clearance: alarms.ClearanceCleared}))
	require.NotZero(t, cleared)
	w := post(s, "/api/v1/alarms/compress", administerSecret, `{"clearance": "any", "text": "tidy"}`)
	require.Equal(t, http.StatusOK, w.Code, w.Body.String())
	require.Contains(t, w.Body.String(), fmt.Sprintf(`"alarms":%d`, cleared), "those with more than one status change")
	w = post(s, "/api/v1/alarms/purge", administerSecret, `{"changed_before": "2020-01-01T00:00:00Z"}`)
	require.Contains(t, w.Body.String(), `"alarms":0`, "criteria are ANDed")
	w = post(s, "/api/v1/alarms/purge", administerSecret, `{}`)
	require.Contains(t, w.Body.String(), fmt.Sprintf(`"alarms":%d`, cleared), "without criteria only what has cleared")
	require.Len(t, s.list.Alarms(alarms.Filter{}), before-cleared)
	require.Equal(t, http.StatusUnprocessableEntity, post(s, "/api/v1/alarms/purge", administerSecret, `{"below": "terrible"}`).Code)
}

func TestShelvesOfTheAPI(t *testing.T) {
	s := newStage(t, makeFleet(3, 4), time.Now(), withAdministrator)
	s.trouble(time.Now())
	put := fmt.Sprintf(`{"name": "works", "type": "supply-redundancy-lost", "until": %q, "text": "new batteries"}`, time.Now().Add(time.Hour).UTC().Format(time.RFC3339))
	require.Equal(t, http.StatusForbidden, post(s, "/api/v1/shelves", seeSecret, put).Code)
	w := post(s, "/api/v1/shelves", operateSecret, put)
	require.Equal(t, http.StatusOK, w.Code, w.Body.String())
	require.Contains(t, s.get("/api/v1/shelves").Body.String(), `"operator":"noc-1"`)
	a, ok := s.list.Alarm(s.id("unit/a2-room", "supply-redundancy-lost"))
	require.True(t, ok)
	require.Equal(t, "works", a.ShelfName)
	long := strings.Replace(put, "202", "212", 1)
	require.Equal(t, http.StatusUnprocessableEntity, post(s, "/api/v1/shelves", operateSecret, long).Code, "a shelf of a century")
	require.Equal(t, http.StatusNotFound, post(s, "/api/v1/shelves/other/remove", operateSecret, "").Code)
	require.Equal(t, http.StatusOK, post(s, "/api/v1/shelves/works/remove", operateSecret, "").Code)
	a, _ = s.list.Alarm(a.ID)
	require.False(t, a.Shelved())
}
