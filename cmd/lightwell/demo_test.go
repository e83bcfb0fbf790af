package main

import (
	"bytes"
	"context"
	"encoding/json"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms/web/view"
)

// screen collects what a running command prints.
type screen struct {
	mu   sync.Mutex
	text bytes.Buffer
}

func (s *screen) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.text.Write(p)
}

func (s *screen) String() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.text.String()
}

func (s *screen) waitFor(t *testing.T, pattern string) []string {
	t.Helper()
	re := regexp.MustCompile(pattern)
	require.Eventually(t, func() bool { return re.MatchString(s.String()) }, 2*time.Minute, 50*time.Millisecond, "%s in\n%s", pattern, s)
	return re.FindStringSubmatch(s.String())
}

// TestDemo runs the demonstration as a person would, to the cut cable in the
// second minute of its story, and works on the alarm with the commands.
func TestDemo(t *testing.T) {
	t.Parallel()
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	out, ended := &screen{}, make(chan error, 1)
	go func() { ended <- run(ctx, []string{"demo", "--listen", "127.0.0.1:0"}, out, out) }()
	server := out.waitFor(t, `page +(http://127\.0\.0\.1:\d+)/`)[1]
	out.waitFor(t, `baselines of \d+ units are accepted`)
	_, _, err := typed(ctx, "health", "--server", server)
	require.NoError(t, err)
	out.waitFor(t, `webhook +raised +(?:warning|minor) +optical-drift at unit/bv-stacks/optical_receive_power, hurts link/bv-roof-stacks`)
	text, _, err := typed(ctx, "alarms", "--server", server)
	require.NoError(t, err)
	require.NotContains(t, text, "major", "a healthy start, but for what is slow")
	require.Regexp(t, `falls slowly: 0\.\d\d dB .* lost between \d+ and \d+ months from`, text)

	out.waitFor(t, `webhook +raised +minor +supply-redundancy-lost`)
	out.waitFor(t, `webhook +raised +critical +optical-signal-lost at cable/et-duct, hurts (link/\S+ ?){5}`)
	text, _, err = typed(ctx, "alarms", "list", "--server", server, "--severity", "critical", "-o", "json")
	require.NoError(t, err)
	var list []view.Alarm
	require.NoError(t, json.Unmarshal([]byte(text), &list))
	require.Len(t, list, 1, "one cause, one alarm")
	id := list[0].ID
	require.Len(t, list[0].Details.Impacted, 5)

	for _, tt := range []struct {
		args []string
		want string
	}{
		{[]string{"acknowledge", id, "--text", "on my way"}, "optical-signal-lost cable/et-duct: ack"},
		{[]string{"comment", id, "--text", "digger at the gate"}, "ack"},
		{[]string{"show", id}, "on my way"},
		{[]string{"show", id}, "caution: "},
		{[]string{"shelve", id, "--for", "1h"}, "shelved"},
		{[]string{"list", "--state", "shelved"}, id},
		{[]string{"unshelve", id}, "un-shelved"},
		{[]string{"close", id}, "closed"},
		{[]string{"reopen", id}, "none"},
	} {
		text, _, err := typed(ctx, append([]string{"alarms", tt.args[0], "--server", server}, tt.args[1:]...)...)
		require.NoError(t, err, "%v", tt.args)
		require.Contains(t, text, tt.want, "%v", tt.args)
	}
	_, _, err = typed(ctx, "alarms", "acknowledge", "--server", server, "nonsense")
	require.ErrorContains(t, err, "no such alarm")

	text, _, err = typed(ctx, "brief", "--server", server, "--rank")
	require.NoError(t, err)
	require.Contains(t, text, "1  ellow-tunnel  critical  0 ")
	text, _, err = typed(ctx, "brief", "--server", server, "ellow-tunnel")
	require.NoError(t, err)
	for _, want := range []string{"Visit brief: Ellow road tunnel", "Cable et-duct", "Treat every fibre as live", "West portal mast to Niche 1, downlink", "What was found"} {
		require.True(t, strings.Contains(text, want), want)
	}

	text, _, err = typed(ctx, "commission", "show", "--server", server, "kq-hall")
	require.NoError(t, err)
	require.Contains(t, text, "kq-hall: accepted, version 1 accepted")
	_, _, err = typed(ctx, "commission", "accept", "--server", server, "site/korrin-quay")
	require.Error(t, err, "nothing was begun")
	text, _, err = typed(ctx, "commission", "begin", "--server", server, "kq-hall")
	require.NoError(t, err)
	require.Contains(t, text, "capturing")

	cancel()
	require.NoError(t, <-ended, "Ctrl-C ends it cleanly")
	require.Contains(t, out.String(), "stopped")
	for line := range strings.Lines(out.String()) {
		require.NotContains(t, line, `"level":"error"`)
	}
}

func TestDemoEndsByItself(t *testing.T) {
	t.Parallel()
	text, _, err := typed(t.Context(), "demo", "--for", "1s", "--listen", "127.0.0.1:0", "--data", t.TempDir())
	require.NoError(t, err)
	require.Regexp(t, `baselines of \d+ units are accepted, as of \d{4}-\d\d-\d\d`, text)
	require.Contains(t, text, "stopped")
}
