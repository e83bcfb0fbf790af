package notify

import (
	"time"
)

// Jittered and the others are open for tests of exact figures.
var (
	Jittered = jittered
	Encode   = encode
)

// AlarmMessage makes the message of a change.
var AlarmMessage = alarmMessage

// Parallel is the number of requests under way at one endpoint.
const Parallel = parallel

// Judge tells what an answer means: outcome by name, whether the endpoint is
// to be left alone, and until when.
func Judge(status int, retryAfter, text string, now time.Time) (outcome, reason string, throttle bool, notBefore time.Time) {
	v := judge(status, retryAfter, []byte(text), now)
	return [...]string{"delivered", "failed", "refused", "gone"}[v.outcome], v.reason, v.throttle, v.notBefore
}
