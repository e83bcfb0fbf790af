package daemon_test

import (
	"context"
	"io"
	"net/http"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms/web"
	"lightwell/cmd/lightwell/config"
	"lightwell/collector"
	"lightwell/collector/snmp"
	"lightwell/collector/state/pgtest"
)

const smallFleet = `
poll: "@every 200ms"
sites:
  - {id: quay, name: Quay, time_zone: UTC}
units:
  - {id: room-1, site: quay, role: indoor, model: rack-dual-supply, address: 192.0.2.1, credentials: v2c}
  - {id: room-2, site: quay, role: indoor, model: rack-dual-supply, address: 192.0.2.2, credentials: v2c}
`

// switches is a plant whose thermometers a test breaks and mends: an alarm
// that one poll raises and two clear.
type switches struct {
	mu     sync.Mutex
	broken map[string]bool
}

func (s *switches) set(unit string, broken bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.broken[unit] = broken
}

// Probe implements collector.Prober.
func (s *switches) Probe(_ context.Context, u collector.Unit) ([]collector.Reading, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	var out []collector.Reading
	for _, point := range u.Equipment.Points {
		r := collector.Reading{Unit: u.ID, Point: point, Value: steady[point.Quantity], Taken: time.Now()}
		if point.Quantity == collector.Temperature && s.broken[u.ID] {
			r.Quality = collector.Broken
		}
		out = append(out, r)
	}
	return out, nil
}

func newSwitched(t *testing.T, dsn collector.Secret) (*bench, *switches) {
	b := newBench(t, smallFleet, func(cfg *config.Config) {
		cfg.Credentials = map[string]snmp.Credentials{"v2c": {Version: "2c", Community: collector.NewSecret("switched")}}
		cfg.Postgres = dsn
	})
	s := &switches{broken: map[string]bool{}}
	b.prober = s
	return b, s
}

// answer asks without expecting success.
func (b *bench) answer(method, path, body string) (int, string) {
	b.t.Helper()
	req, err := http.NewRequest(method, b.daemon.URL()+path, strings.NewReader(body))
	require.NoError(b.t, err)
	if body != "" {
		req.Header.Set("Content-Type", "application/json")
	}
	resp, err := http.DefaultClient.Do(req)
	require.NoError(b.t, err)
	defer resp.Body.Close()
	text, err := io.ReadAll(resp.Body)
	require.NoError(b.t, err)
	http.DefaultClient.CloseIdleConnections()
	return resp.StatusCode, string(text)
}

// alarm returns the id of an active alarm, or nothing.
func (b *bench) alarm(resource string) string {
	var list struct {
		Items []struct{ ID, Resource string }
	}
	b.get("/api/v1/alarms", &list)
	for _, a := range list.Items {
		if a.Resource == resource {
			return a.ID
		}
	}
	return ""
}

func (b *bench) logKinds() []string {
	var list struct{ Items []web.LogLine }
	b.get("/api/v1/log?limit=1000", &list)
	var out []string
	for _, l := range slices.Backward(list.Items) {
		kind := l.Kind
		if l.Alarm != nil {
			kind += " " + l.Alarm.Resource
		}
		if l.From != "" {
			kind += " by " + l.Operator + " from " + l.From
		}
		out = append(out, kind)
	}
	return out
}

// TestDatabaseGoneAndBack stops the database under a running daemon: alarms
// go on, the daemon says what is wrong, people are refused, and everything is
// written and told when the database is back.
func TestDatabaseGoneAndBack(t *testing.T) {
	t.Parallel()
	server := pgtest.Start(t)
	b, plant := newSwitched(t, server.Database())
	b.start()
	const one, two = "unit/room-1/temperature", "unit/room-2/temperature"
	b.eventually("ready", func() bool { return b.daemon.Ready() == nil })
	plant.set("room-1", true)
	b.saw("raised warning sensor-broken " + one)
	id := b.alarm(one)

	before := len(ofUnits(b.webhooks()))
	server.Stop()
	plant.set("room-2", true)
	b.eventually("the alarm is on the list although it cannot be stored", func() bool { return b.alarm(two) != "" })
	status, text := b.answer("GET", "/readyz", "")
	require.Equal(t, http.StatusServiceUnavailable, status)
	require.Contains(t, text, "the state is not written since")
	status, text = b.answer("POST", "/api/v1/alarms/"+id+"/acknowledge", `{"text": "on my way"}`)
	require.Equal(t, http.StatusServiceUnavailable, status, text)
	require.Contains(t, text, "nothing was changed")
	require.Contains(t, b.get("/", nil), "Alarms go on; what people do is refused")
	require.Contains(t, b.get("/metrics", nil), "lightwell_state_written 0")
	require.NotContains(t, b.get("/api/v1/alarms/"+id, nil), "on my way")

	plant.set("room-2", false)
	b.eventually("and gone again", func() bool { return b.alarm(two) == "" })
	plant.set("room-2", true)
	b.eventually("and back", func() bool { return b.alarm(two) != "" })
	require.Len(t, ofUnits(b.webhooks()), before, "what is not stored is not told")

	server.Run()
	b.eventually("ready again", func() bool { return b.daemon.Ready() == nil })
	b.eventually("what waited is told, all of it and in order", func() bool { return len(ofUnits(b.webhooks())) == before+3 })
	require.Equal(t, []string{
		"raised warning sensor-broken " + two, "cleared warning sensor-broken " + two, "raised warning sensor-broken " + two,
	}, ofUnits(b.webhooks())[before:])
	status, text = b.answer("POST", "/api/v1/alarms/"+id+"/acknowledge", `{"text": "on my way"}`)
	require.Equal(t, http.StatusOK, status, text)
	b.saw("acknowledged warning sensor-broken " + one)
	b.stop()

	told := len(ofUnits(b.webhooks()))
	b.start()
	b.eventually("ready after the restart", func() bool { return b.daemon.Ready() == nil })
	require.Equal(t, []string{
		"started", "raised " + one, "raised " + two, "cleared " + two, "raised " + two, "acknowledged " + one + " by local from 127.0.0.1", "stopped", "started",
	}, ofUnits(b.logKinds()))
	require.NotEmpty(t, b.alarm(two))
	plant.set("room-2", false)
	b.eventually("more is told", func() bool { return len(ofUnits(b.webhooks())) > told })
	require.Equal(t, []string{"cleared warning sensor-broken " + two}, ofUnits(b.webhooks())[told:], "nothing is told twice")
}

// ofUnits leaves out what is said of the daemon itself: that its state is not
// written is an alarm of its own when it lasts.
func ofUnits(lines []string) []string {
	return slices.DeleteFunc(lines, func(l string) bool { return strings.HasSuffix(l, " daemon") })
}

// TestWhatPeopleDoIsInTheLog goes through everything that a person can do.
func TestWhatPeopleDoIsInTheLog(t *testing.T) {
	t.Parallel()
	b, plant := newSwitched(t, collector.Secret{})
	b.start()
	plant.set("room-1", true)
	const one = "unit/room-1/temperature"
	b.saw("raised warning sensor-broken " + one)
	post := func(path, body string) {
		t.Helper()
		status, text := b.answer("POST", path, body)
		require.Less(t, status, 300, text)
	}
	id := b.alarm(one)
	post("/api/v1/alarms/"+id+"/comment", `{"text": "part ordered"}`)
	post("/api/v1/alarms/"+id+"/close", "")
	post("/api/v1/units/room-2/poll", "")
	post("/api/v1/commissioning/begin", `{"resources": ["site/quay"]}`)
	b.eventually("captures are ready", func() bool {
		status, _ := b.answer("POST", "/api/v1/commissioning/accept", `{"resources": ["site/quay"]}`)
		return status == http.StatusOK
	})
	post("/api/v1/deliveries/resend", `{"endpoint": "test"}`)
	post("/api/v1/webhooks/test/resume", "")
	require.NoError(t, b.daemon.Reload(b.cfg, b.files()))
	b.daemon.Reloaded(io.ErrUnexpectedEOF)
	const by = " by local from 127.0.0.1"
	require.Equal(t, []string{
		"started", "raised " + one, "commented " + one + by, "closed " + one + by, "poll-asked" + by, "baseline-capture-begun" + by,
		"baseline-accepted" + by, "deliveries-resent" + by, "webhook-resumed" + by, "reloaded", "reload-refused",
	}, b.logKinds())

	var page struct {
		Items []web.LogLine
		Next  string
	}
	b.get("/api/v1/log?limit=2", &page)
	require.Equal(t, []string{"reload-refused", "reloaded"}, []string{page.Items[0].Kind, page.Items[1].Kind})
	b.get("/api/v1/log?limit=2&after="+page.Next, &page)
	require.Equal(t, "webhook-resumed", page.Items[0].Kind)
	b.get("/api/v1/log?alarm="+id, &page)
	require.Len(t, page.Items, 3)
	require.Equal(t, "part ordered", page.Items[1].Text)
	require.Equal(t, "sensor-broken", page.Items[1].Alarm.Type)
	b.get("/api/v1/log?since="+time.Now().Add(time.Hour).UTC().Format(time.RFC3339), &page)
	require.Empty(t, page.Items)
}
