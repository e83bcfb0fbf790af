package web_test

import (
	"encoding/json"
	"fmt"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
)

func TestReads(t *testing.T) {
	s := newStage(t, makeFleet(3, 4), time.Now())
	s.trouble(time.Now())
	for path, want := range map[string]string{
		"/api/v1/fleet":                        `"alarms":{"critical":1,"major":0,"minor":1,"warning":1}`,
		"/api/v1/sites":                        `"id":"north-quay"`,
		"/api/v1/sites/north-quay":             `"time_zone":"Europe/Lisbon"`,
		"/api/v1/units?limit=2":                `"next":"a1-room"`,
		"/api/v1/units/a1-room":                `"point":"optical_receive_power"`,
		"/api/v1/links":                        `"extra_loss_db":`,
		"/api/v1/alarms":                       `"total":3`,
		"/api/v1/alarms?state=all":             `"total":6`,
		"/api/v1/alarms?state=held":            `"by":"cable/north-quay-riser"`,
		"/api/v1/alarms?state=shelved":         `"operator_state":"shelved"`,
		"/api/v1/alarms?state=cleared":         `"cleared":true`,
		"/api/v1/alarms?severity=minor":        `"total":2`,
		"/api/v1/alarms?resource=unit/a2-room": `"total":1`,
		"/api/v1/alarms?site=nowhere":          `"items":[],"total":0`,
		"/api/v1/alarms/" + s.id("cable/north-quay-riser", "cable-cut"): `"place":"fibre"`,
		"/api/v1/alarm-summary":                       `"critical":{"total":1`,
		"/api/v1/alarm-types":                         `"id":"cable-cut"`,
		"/api/v1/events":                              `"kind":"restart"`,
		"/api/v1/load":                                `"announced":3`,
		"/api/v1/commissioning?resource=link/a1":      `"total":2`,
		"/api/v1/commissioning?resource=unit/a1-room": `"state":"commissioning"`,
	} {
		w := s.get(path)
		require.Equal(t, http.StatusOK, w.Code, "%s: %s", path, w.Body)
		require.Equal(t, "application/json", w.Header().Get("Content-Type"), path)
		require.Contains(t, w.Body.String(), want, path)
		require.True(t, json.Valid(w.Body.Bytes()), path)
	}
}

func TestNonsense(t *testing.T) {
	s := newStage(t, makeFleet(1, 2), time.Now())
	s.trouble(time.Now())
	id := s.id("unit/a2-room", "supply-redundancy-lost")
	long := strings.Repeat("x", 1001)
	for name, c := range map[string]struct {
		method, path, body string
		status             int
	}{
		"unknown path":             {"GET", "/api/v1/everything", "", 404},
		"unknown site":             {"GET", "/api/v1/sites/x", "", 404},
		"unknown unit":             {"GET", "/api/v1/units/x", "", 404},
		"unknown alarm":            {"GET", "/api/v1/alarms/x", "", 404},
		"act on unknown alarm":     {"POST", "/api/v1/alarms/x/acknowledge", "", 404},
		"unknown action":           {"POST", "/api/v1/alarms/" + id + "/explode", "", 404},
		"poll unknown unit":        {"POST", "/api/v1/units/x/poll", "", 404},
		"unknown resource":         {"GET", "/api/v1/commissioning?resource=planet/mars", "", 404},
		"no resource":              {"GET", "/api/v1/commissioning", "", 422},
		"wrong method":             {"DELETE", "/api/v1/alarms/" + id, "", 405},
		"wrong method on action":   {"GET", "/api/v1/alarms/" + id + "/acknowledge", "", 405},
		"unknown state":            {"GET", "/api/v1/alarms?state=odd", "", 422},
		"unknown severity":         {"GET", "/api/v1/alarms?severity=fatal", "", 422},
		"cleared is no severity":   {"GET", "/api/v1/alarms?severity=cleared", "", 422},
		"unknown query":            {"GET", "/api/v1/alarms?colour=red", "", 422},
		"limit 0":                  {"GET", "/api/v1/alarms?limit=0", "", 422},
		"limit too large":          {"GET", "/api/v1/alarms?limit=1001", "", 422},
		"limit no number":          {"GET", "/api/v1/alarms?limit=many", "", 422},
		"after what is gone":       {"GET", "/api/v1/alarms?after=gone", "", 410},
		"body is no JSON":          {"POST", "/api/v1/alarms/" + id + "/acknowledge", "{", 400},
		"body is a list":           {"POST", "/api/v1/alarms/" + id + "/acknowledge", "[]", 422},
		"unknown field":            {"POST", "/api/v1/alarms/" + id + "/acknowledge", `{"note":"x"}`, 422},
		"text too long":            {"POST", "/api/v1/alarms/" + id + "/acknowledge", `{"text":"` + long + `"}`, 422},
		"text is a number":         {"POST", "/api/v1/alarms/" + id + "/comment", `{"text":1}`, 422},
		"comment without text":     {"POST", "/api/v1/alarms/" + id + "/comment", `{"text":""}`, 422},
		"comment without body":     {"POST", "/api/v1/alarms/" + id + "/comment", ``, 400},
		"shelve without end":       {"POST", "/api/v1/alarms/" + id + "/shelve", `{}`, 422},
		"shelve until yesterday":   {"POST", "/api/v1/alarms/" + id + "/shelve", `{"until":"2020-01-01T00:00:00Z"}`, 422},
		"shelve for ever":          {"POST", "/api/v1/alarms/" + id + "/shelve", `{"until":"2999-01-01T00:00:00Z"}`, 422},
		"shelve until someday":     {"POST", "/api/v1/alarms/" + id + "/shelve", `{"until":"someday"}`, 422},
		"unshelve what is not":     {"POST", "/api/v1/alarms/" + id + "/unshelve", "", 409},
		"act on what is shelved":   {"POST", "/api/v1/alarms/" + s.id("unit/a4-room", "sensor-broken") + "/close", "", 409},
		"begin at nothing":         {"POST", "/api/v1/commissioning/begin", `{"resources":[]}`, 422},
		"begin at unknown":         {"POST", "/api/v1/commissioning/begin", `{"resources":["unit/x"]}`, 404},
		"begin at a point":         {"POST", "/api/v1/commissioning/begin", `{"resources":["unit/a1-room/uptime"]}`, 404},
		"accept before begin":      {"POST", "/api/v1/commissioning/accept", `{"resources":["unit/a1-room"]}`, 409},
		"body larger than allowed": {"POST", "/api/v1/commissioning/begin", `{"resources":["` + strings.Repeat("y", 70<<10) + `"]}`, 413},
	} {
		t.Run(name, func(t *testing.T) {
			w := s.do(call{method: c.method, path: c.path, body: c.body, secret: commissionSecret})
			require.Equal(t, c.status, w.Code, w.Body.String())
			require.Equal(t, "application/problem+json", w.Header().Get("Content-Type"), "RFC 9457 3")
			p := decode(t, w)
			require.EqualValues(t, c.status, p["status"], "status member equals the real status")
			require.NotEmpty(t, p["title"])
			require.NotEmpty(t, p["detail"])
			if c.status == http.StatusMethodNotAllowed {
				require.NotEmpty(t, w.Header().Get("Allow"), "RFC 9110 15.5.6")
			}
		})
	}
}

func TestOperatorActions(t *testing.T) {
	s := newStage(t, makeFleet(1, 4), time.Now())
	s.trouble(time.Now())
	id := s.id("unit/a2-room", "supply-redundancy-lost")
	act := func(do, body, match string) (int, string, map[string]any) {
		w := s.do(call{method: "POST", path: "/api/v1/alarms/" + id + "/" + do, body: body, secret: operateSecret, header: map[string]string{"If-Match": match}})
		return w.Code, w.Header().Get("ETag"), decode(t, w)
	}
	seen := s.get("/api/v1/alarms/" + id).Header().Get("ETag")
	require.Regexp(t, `^"\d+-[0-9a-f]{16}"$`, seen)

	status, tag, body := act("acknowledge", `{"text":"on my way"}`, seen)
	require.Equal(t, 200, status, body)
	require.NotEqual(t, seen, tag)
	require.Equal(t, "ack", body["operator_state"])
	first := body["operator_actions"].([]any)[0].(map[string]any)
	require.Equal(t, "noc-1", first["operator"], "the token's name is recorded")
	require.Equal(t, "on my way", first["text"])

	status, _, _ = act("close", "", seen)
	require.Equal(t, http.StatusPreconditionFailed, status, "another operator was faster")
	for _, odd := range []string{`W/` + tag, "7", `"x"`, `"0"`, `""`} {
		status, _, _ = act("close", "", odd)
		require.Equal(t, http.StatusPreconditionFailed, status, odd)
	}
	a, _ := s.list.Alarm(id)
	require.Equal(t, alarms.OperatorAck, a.Operator, "nothing was done")

	status, _, body = act("close", "", tag)
	require.Equal(t, 200, status)
	require.Equal(t, "closed", body["operator_state"])
	status, _, body = act("reopen", `{}`, "*")
	require.Equal(t, 200, status)
	require.Equal(t, "none", body["operator_state"])
	status, _, body = act("comment", `{"text":"spare ordered"}`, "")
	require.Equal(t, 200, status, body)
	until := time.Now().Add(2 * time.Hour).UTC().Format(time.RFC3339)
	status, _, body = act("shelve", fmt.Sprintf(`{"text":"spare tomorrow","until":%q}`, until), "")
	require.Equal(t, 200, status, body)
	require.Equal(t, until, body["shelved_until"])
	status, _, body = act("unshelve", "", "")
	require.Equal(t, 200, status, body)

	now := s.get("/api/v1/alarms/" + id).Header().Get("ETag")
	w := s.do(call{method: "GET", path: "/api/v1/alarms/" + id, secret: seeSecret, header: map[string]string{"If-None-Match": now}})
	require.Equal(t, http.StatusNotModified, w.Code)
	require.Empty(t, w.Body.String())
}

func TestPages(t *testing.T) {
	s := newStage(t, makeFleet(2, 4), time.Now())
	var ids []string
	after := ""
	for {
		page := decode(t, s.get("/api/v1/units?limit=3&after="+after))
		require.EqualValues(t, 16, page["total"])
		for _, item := range page["items"].([]any) {
			ids = append(ids, item.(map[string]any)["id"].(string))
		}
		next, more := page["next"].(string)
		if !more {
			break
		}
		after = next
	}
	require.Len(t, ids, 16)
	for i, u := range s.fleet.Units {
		require.Equal(t, u.ID, ids[i])
	}
}

func TestCommissioning(t *testing.T) {
	s := newStage(t, makeFleet(1, 1), time.Now())
	post := func(do, body string) (int, map[string]any) {
		w := s.do(call{method: "POST", path: "/api/v1/commissioning/" + do, body: body, secret: commissionSecret})
		return w.Code, decode(t, w)
	}
	status, body := post("begin", `{"resources":["site/north-quay","link/a1"]}`)
	require.Equal(t, 200, status, body)
	items := body["items"].([]any)
	require.Len(t, items, 2, "each unit once")
	require.Equal(t, "capturing", items[0].(map[string]any)["state"])
	require.Equal(t, "engineer", items[0].(map[string]any)["by"])

	status, body = post("accept", `{"resources":["unit/a1-room"]}`)
	require.Equal(t, http.StatusConflict, status, "nothing collected yet: %v", body)

	for i := range 3 {
		s.book.Observe(s.poll("a1-room", time.Now().Add(time.Duration(i)*time.Minute)))
	}
	status, body = post("accept", `{"resources":["unit/a1-room"]}`)
	require.Equal(t, http.StatusConflict, status, "not ready: %v", body)
	status, body = post("accept", `{"resources":["unit/a1-room"],"force":true}`)
	require.Equal(t, http.StatusUnprocessableEntity, status, "no reason: %v", body)
	status, body = post("accept", `{"resources":["unit/a1-room"],"force":true,"reason":"no time on site"}`)
	require.Equal(t, 200, status, body)
	version := body["items"].([]any)[0].(map[string]any)["versions"].([]any)[0].(map[string]any)
	require.Equal(t, "engineer", version["by"])
	require.Equal(t, true, version["forced"])
	require.InDelta(t, 3.04, version["levels"].(map[string]any)["optical_transmit_power"].(map[string]any)["value"], 1e-9)
}

func TestPollNow(t *testing.T) {
	s := newStage(t, makeFleet(1, 1), time.Now())
	c := call{method: "POST", path: "/api/v1/units/a1-room/poll", secret: operateSecret}
	require.Equal(t, http.StatusAccepted, s.do(c).Code)
	require.Equal(t, "a1-room", <-s.poller.asked)
	for range cap(s.poller.asked) {
		require.Equal(t, http.StatusAccepted, s.do(c).Code)
	}
	require.Equal(t, http.StatusServiceUnavailable, s.do(c).Code)
}

func TestDescriptionFitsTheServer(t *testing.T) {
	s := newStage(t, makeFleet(1, 1), time.Now())
	doc := decode(t, s.get("/api/openapi.json"))
	require.Equal(t, "3.1.0", doc["openapi"])
	require.NotEmpty(t, s.get("/api/openapi.yaml").Body.String())
	paths := doc["paths"].(map[string]any)
	require.Equal(t, 33, len(paths))
	for path, item := range paths {
		for method, op := range item.(map[string]any) {
			if method == "get" {
				continue
			}
			// Whoever may only see is refused at everything that changes something.
			path := strings.NewReplacer("{id}", "x").Replace(path)
			w := s.do(call{method: strings.ToUpper(method), path: path, secret: seeSecret})
			require.Equal(t, http.StatusForbidden, w.Code, "%s %s", method, path)
			require.Contains(t, op.(map[string]any)["description"], "Needs the role")
		}
	}
}

func TestNoSecretLeavesTheServer(t *testing.T) {
	s := newStage(t, makeFleet(1, 2), time.Now())
	s.trouble(time.Now())
	for _, path := range []string{"/", "/sites/north-quay", "/units/a1-room", "/alarms", "/api/v1/fleet", "/api/v1/units/a1-room", "/api/openapi.json"} {
		body := s.get(path).Body.String()
		for _, secret := range []string{seeSecret, operateSecret, commissionSecret, "fleet-v3"} {
			require.NotContains(t, body, secret, path)
		}
	}
}
