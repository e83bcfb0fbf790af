package notify

import (
	"net/http"
	"strconv"
	"strings"
	"time"
)

// schedule holds the waits before each attempt: the example schedule of
// Standard Webhooks 1.0.0. The last attempt comes 75 h 35 min 5 s after the
// first.
var schedule = [...]time.Duration{
	0, 5 * time.Second, 5 * time.Minute, 30 * time.Minute,
	2 * time.Hour, 5 * time.Hour, 10 * time.Hour, 14 * time.Hour, 20 * time.Hour, 24 * time.Hour,
}

// Attempts is how often a message is tried before it is given up.
const Attempts = len(schedule)

// MaxRetryAfter is the longest wait a receiver can ask for: longer ones count
// as this, so that a mistaken header cannot silence an endpoint for good.
const MaxRetryAfter = 24 * time.Hour

// jitterShare is the largest share by which a wait is made longer, so that
// receivers are not hit by all messages of an outage at once.
const jitterShare = 0.1

// RetryDelay returns the wait after that many failed attempts, without
// jitter; ok is false when no further attempt is made.
func RetryDelay(failed int) (wait time.Duration, ok bool) {
	if failed < 0 || failed >= Attempts {
		return 0, false
	}
	return schedule[failed], true
}

// jittered makes a wait longer by the share r of jitterShare; r is in [0, 1).
func jittered(wait time.Duration, r float64) time.Duration {
	return wait + time.Duration(float64(wait)*jitterShare*r)
}

// ParseRetryAfter reads a Retry-After header (RFC 9110, 10.2.3): seconds or a
// date. It returns the moment to wait for, at most MaxRetryAfter from now; ok
// is false when the header is missing, not valid, or in the past.
func ParseRetryAfter(header string, now time.Time) (at time.Time, ok bool) {
	header = strings.TrimSpace(header)
	if header == "" {
		return time.Time{}, false
	}
	latest := now.Add(MaxRetryAfter)
	if strings.Trim(header, "0123456789") == "" {
		s, err := strconv.ParseInt(header, 10, 64)
		if err != nil || s > int64(MaxRetryAfter/time.Second) {
			return latest, true
		}
		return now.Add(time.Duration(s) * time.Second), s > 0
	}
	at, err := http.ParseTime(header)
	if err != nil || !at.After(now) {
		return time.Time{}, false
	}
	if at.After(latest) {
		at = latest
	}
	return at, true
}
