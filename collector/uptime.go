package collector

import "time"

// UptimeWrap is where sysUpTime starts again from zero: a TimeTicks object
// counts hundredths of a second in 32 bits, 497 days 2 h 27 min 52.96 s
// (RFC 3418, RFC 2578 7.1.8).
const UptimeWrap = time.Duration(1<<32) * 10 * time.Millisecond

// Restarted tells whether a unit's agent started anew between two readings of
// its uptime, taken elapsed apart. An uptime that went back because its
// counter wrapped is no restart. An uptime that grew by much less than the
// time that passed means a restart in between, even if it is larger than
// before.
func Restarted(before, now, elapsed time.Duration) bool {
	slack := 30*time.Second + elapsed/50 // two clocks never agree
	expected := before + elapsed
	if now >= before {
		return now < expected-slack
	}
	wrapped := expected - UptimeWrap
	return now < wrapped-slack || now > wrapped+slack
}
