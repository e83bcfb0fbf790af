package daemon_test

import (
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/zap"

	"lightwell/alarms/notify"
	"lightwell/alarms/web/access"
	"lightwell/cmd/lightwell/config"
	"lightwell/cmd/lightwell/daemon"
	"lightwell/collector"
	"lightwell/collector/state"
)

// TestClockJumps has the clock of the machine jump an hour ahead and back: it
// is an alarm, which a receiver hears of, and it clears by itself.
func TestClockJumps(t *testing.T) {
	t.Parallel()
	b, _ := newSwitched(t, collector.Secret{})
	b.start()
	b.eventually("ready", func() bool { return b.daemon.Ready() == nil })
	begun := time.Now()
	b.daemon.Look(begun.Add(time.Hour+time.Minute), time.Minute)
	b.saw("raised major clock-wrong daemon")
	b.daemon.Look(begun.Add(2*time.Minute), 2*time.Minute)
	b.saw("cleared major clock-wrong daemon")
	b.daemon.Look(begun.Add(3*time.Minute-time.Hour), 3*time.Minute)
	b.eventually("the page names it", func() bool { return strings.Contains(b.get("/alarms", nil), "jumped back by 1h0m0s") })
}

// TestUndeliveredIsAnAlarm: one receiver is told that another does not hear.
func TestUndeliveredIsAnAlarm(t *testing.T) {
	t.Parallel()
	b, plant := newSwitched(t, collector.Secret{})
	b.cfg.Webhooks = append(b.cfg.Webhooks, notify.Endpoint{
		Name: "deaf", URL: collector.NewSecret("http://127.0.0.1:1"), Secrets: []collector.Secret{victimKey}, Types: []string{"sensor-broken"},
	})
	b.start()
	plant.set("room-1", true)
	b.saw("raised warning sensor-broken unit/room-1/temperature")
	b.eventually("nothing waits for the other", func() bool {
		list, err := b.daemon.Outbox("test", state.Pending)
		return err == nil && len(list) == 0
	})
	later := time.Now().Add(6 * time.Minute)
	b.daemon.Look(later, 6*time.Minute)
	b.saw("raised major webhook-undelivered daemon")
	var list struct {
		Items []struct{ Type, Qualifier, Text string }
	}
	b.get("/api/v1/alarms?resource=daemon", &list)
	require.Len(t, list.Items, 1)
	require.Equal(t, "deaf", list.Items[0].Qualifier)
	require.Contains(t, list.Items[0].Text, "1 wait")

	cfg := b.cfg
	cfg.Webhooks = cfg.Webhooks[:1]
	require.NoError(t, b.daemon.Reload(cfg, b.files()))
	b.daemon.Look(later, 6*time.Minute)
	b.saw("cleared major webhook-undelivered daemon")
}

// TestShelvesOutliveARestart puts a shelf, restarts, and has it take what is
// raised then.
func TestShelvesOutliveARestart(t *testing.T) {
	t.Parallel()
	b, plant := newSwitched(t, collector.Secret{})
	b.start()
	until := time.Now().Add(time.Hour).UTC().Format(time.RFC3339)
	status, text := b.answer("POST", "/api/v1/shelves", fmt.Sprintf(`{"name": "works", "resource": "unit/room-1", "until": %q}`, until))
	require.Equal(t, http.StatusOK, status, text)
	b.stop()
	b.start()
	plant.set("room-1", true)
	b.eventually("it is on the shelf", func() bool {
		return strings.Contains(b.get("/api/v1/alarms?state=shelved", nil), `"shelf":"works"`)
	})
	require.NotContains(t, strings.Join(b.webhooks(), "\n"), "room-1")
	status, text = b.answer("POST", "/api/v1/alarms/purge", `{}`)
	require.Equal(t, http.StatusOK, status, text)
	status, text = b.answer("POST", "/api/v1/shelves/works/remove", "")
	require.Equal(t, http.StatusOK, status, text)
	b.eventually("receivers hear of it", func() bool {
		return strings.Contains(strings.Join(b.webhooks(), "\n"), "warning sensor-broken unit/room-1/temperature")
	})
	require.Contains(t, b.logKinds(), "shelf-put by local from 127.0.0.1")
	require.Contains(t, b.logKinds(), "shelf-removed by local from 127.0.0.1")
}

// TestOldIsForgotten gives the log lines of long ago.
func TestOldIsForgotten(t *testing.T) {
	t.Parallel()
	b, _ := newSwitched(t, collector.Secret{})
	store, err := state.Open(t.Context(), state.Config{Folder: b.cfg.Data}, zap.NewNop())
	require.NoError(t, err)
	old := time.Now().Add(-4 * 365 * 24 * time.Hour)
	const lines = 1200
	for from := uint64(1); from <= lines; from += 100 {
		var batch state.Batch
		for seq := from; seq < from+100; seq++ {
			batch.Changes = append(batch.Changes, state.ChangeRow{Seq: seq, AlarmID: "a", Kind: "raised", Time: old, Body: []byte("{}")})
		}
		require.NoError(t, store.Commit(t.Context(), batch))
	}
	require.NoError(t, store.AppendAudit(t.Context(), state.AuditRow{Time: old, Who: "kim", What: "baseline-accepted"}))
	require.NoError(t, store.AppendOutbox(t.Context(), state.OutboxRow{Endpoint: "test", ID: "evt_1", State: state.Dead, Created: old, Next: old}))
	require.NoError(t, store.Close())

	b.cfg.Retention = config.Retention{Changes: config.DefaultChanges, DeadLetters: config.DefaultDeadLetters}
	b.start()
	b.daemon.Look(time.Now().Add(time.Hour), time.Second)
	b.daemon.Tidy(t.Context())
	require.Equal(t, 1, b.daemon.Rows("changes")/lines, "a clock that jumped makes nothing old")
	b.daemon.Look(time.Now(), time.Second)
	b.daemon.Tidy(t.Context())
	kinds := b.logKinds()
	require.Equal(t, []string{"baseline-accepted", "started"}, kinds[:2], "what is kept for ever is all that is old")
	require.Less(t, b.daemon.Rows("changes"), 20)
	list, err := b.daemon.Outbox("test", state.Dead)
	require.NoError(t, err)
	require.Empty(t, list)
	metrics := b.get("/metrics", nil)
	require.True(t, strings.Contains(metrics, `lightwell_state_rows{table="changes"} `) && strings.Contains(metrics, "lightwell_state_database_bytes "))
}

// TestReloadSaysWhatItDoesNotChange: a key that needs a restart is named, and
// so are the faults of a reload that was refused.
func TestReloadSaysWhatItDoesNotChange(t *testing.T) {
	t.Parallel()
	b, _ := newSwitched(t, collector.Secret{})
	b.start()
	cfg := b.cfg
	cfg.Retention.Changes, cfg.Backup.Keep = 365*24*time.Hour, 3
	require.NoError(t, b.daemon.Reload(cfg, b.files()))
	require.Contains(t, b.log.String(), `"keys":["retention","backup"]`)
	require.NoError(t, b.daemon.Reload(cfg, b.files()))
	require.Equal(t, 2, strings.Count(b.log.String(), `"keys":["retention","backup"]`), "compared with what runs, not with the reload before")
	require.NoError(t, b.daemon.Reload(b.cfg, b.files()))
	require.Equal(t, 2, strings.Count(b.log.String(), `"keys":["retention","backup"]`))

	b.rewrite(func(fleet string) string { return strings.ReplaceAll(fleet, "role: indoor", "role: upstairs") })
	_, err := daemon.LoadFiles(b.cfg)
	b.daemon.Reloaded(err)
	var page struct{ Items []struct{ Kind, Text string } }
	b.get("/api/v1/log?limit=1", &page)
	require.Equal(t, "reload-refused", page.Items[0].Kind)
	require.Regexp(t, `^2 faults: .*fleet\.yaml:\d+:\d+: .*upstairs.* \| .*fleet\.yaml:\d+:\d+: `, page.Items[0].Text)
	require.NotContains(t, page.Items[0].Text, "\n")
}

// TestTokensAndSessionsOverReloadAndRestart: a browser stays signed in over a
// restart, and not beyond the life of its token.
func TestTokensAndSessionsOverReloadAndRestart(t *testing.T) {
	t.Parallel()
	b, _ := newSwitched(t, collector.Secret{})
	anna, bert := access.NewSecret(), access.NewSecret()
	token := func(name, secret string) access.Token {
		return access.Token{Name: name, Role: access.Operate, Hash: access.HashOf(secret)}
	}
	b.cfg.Tokens = []access.Token{token("anna", anna), token("bert", bert)}
	b.start()
	browser := &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	defer browser.CloseIdleConnections()
	w, err := browser.PostForm(b.daemon.URL()+"/sign-in", url.Values{"name": {"anna"}, "secret": {anna}})
	require.NoError(t, err)
	require.NoError(t, w.Body.Close())
	require.Len(t, w.Cookies(), 1)
	status := func() int {
		r, err := http.NewRequestWithContext(t.Context(), "GET", b.daemon.URL()+"/api/v1/fleet", nil)
		require.NoError(t, err)
		r.AddCookie(w.Cookies()[0])
		answer, err := browser.Do(r)
		require.NoError(t, err)
		require.NoError(t, answer.Body.Close())
		return answer.StatusCode
	}
	require.Equal(t, http.StatusOK, status())
	b.stop()
	b.start()
	require.Equal(t, http.StatusOK, status(), "a restart signs nobody out")

	cfg := b.cfg
	cfg.Tokens = []access.Token{token("bert", bert)}
	require.NoError(t, b.daemon.Reload(cfg, b.files()))
	require.Equal(t, http.StatusUnauthorized, status())
	cfg.Tokens = []access.Token{{Name: "bert"}}
	require.Error(t, b.daemon.Reload(cfg, b.files()))
	require.NotContains(t, b.log.String(), anna)
}
