package notify_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms/notify"
)

// Standard Webhooks 1.0.0: ten attempts, the last 272105 s after the first.
func TestRetrySchedule(t *testing.T) {
	var sum time.Duration
	attempts := 0
	for ; ; attempts++ {
		wait, ok := notify.RetryDelay(attempts)
		if !ok {
			break
		}
		sum += wait
	}
	require.Equal(t, 10, attempts)
	require.Equal(t, notify.Attempts, attempts)
	require.Equal(t, 272105*time.Second, sum)
	_, ok := notify.RetryDelay(-1)
	require.False(t, ok)
}

func TestJitterOnlyLengthens(t *testing.T) {
	require.Equal(t, 10*time.Minute, notify.Jittered(10*time.Minute, 0))
	require.Equal(t, 10*time.Minute+30*time.Second, notify.Jittered(10*time.Minute, 0.5))
	require.Less(t, notify.Jittered(10*time.Minute, 0.999), 11*time.Minute)
}

// RFC 9110, 10.2.3.
func TestParseRetryAfter(t *testing.T) {
	now := time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	day := now.Add(notify.MaxRetryAfter)
	for _, tt := range []struct {
		header string
		want   time.Time // zero: ignored
	}{
		{"120", now.Add(120 * time.Second)},
		{" 5 ", now.Add(5 * time.Second)},
		{"Fri, 31 Dec 1999 23:59:59 GMT", time.Time{}}, // past: own schedule
		{"Sun, 01 Mar 2026 12:30:00 GMT", now.Add(30 * time.Minute)},
		{"Sunday, 01-Mar-26 12:30:00 GMT", now.Add(30 * time.Minute)}, // obsolete form, RFC 9110 5.6.7
		{"Sun, 01 Mar 2026 12:00:00 GMT", time.Time{}},
		{"1.5", time.Time{}},
		{"-3", time.Time{}},
		{"+3", time.Time{}},
		{"0", time.Time{}},
		{"", time.Time{}},
		{"soon", time.Time{}},
		{"86401", day},
		{"99999999999999999999", day},
		{"Sun, 01 Mar 2099 12:30:00 GMT", day},
	} {
		at, ok := notify.ParseRetryAfter(tt.header, now)
		require.Equal(t, !tt.want.IsZero(), ok, tt.header)
		if ok {
			require.True(t, tt.want.Equal(at), "%q: %s", tt.header, at)
		}
	}
}

func FuzzRetryAfter(f *testing.F) {
	for _, s := range []string{"120", "1.5", "Fri, 31 Dec 1999 23:59:59 GMT", "99999999999999999999", ""} {
		f.Add(s)
	}
	now := time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	f.Fuzz(func(t *testing.T, s string) {
		at, ok := notify.ParseRetryAfter(s, now)
		if ok && (!at.After(now) || at.After(now.Add(notify.MaxRetryAfter))) {
			t.Fatalf("%q: %s", s, at)
		}
	})
}
