package engine

import "time"

// A pacer spreads messages so that no more than so many leave in a second.
type pacer struct {
	perSecond int // 0: no limit
	next      time.Duration
}

// allow returns how many of want may leave now.
func (p *pacer) allow(now time.Duration, want int) int {
	if p.perSecond == 0 || p.next <= now {
		return want
	}
	return 0
}

// spent takes note of n that left.
func (p *pacer) spent(now time.Duration, n int) {
	if p.perSecond > 0 {
		p.next = max(p.next, now) + time.Duration(n)*time.Second/time.Duration(p.perSecond)
	}
}

// pause returns how long nothing may leave.
func (p *pacer) pause(now time.Duration) time.Duration { return max(p.next-now, 0) }
