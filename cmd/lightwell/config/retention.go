package config

import (
	"fmt"
	"time"
)

// Retention says how long the state keeps what grows. Baselines, alarms and
// the lines of the log about accepted baselines stay for ever.
type Retention struct {
	Changes     time.Duration // lines of the log of changes
	DeadLetters time.Duration // webhooks that were given up
}

// Defaults of Retention, and the least that is accepted: a month's log is
// what a complaint or a dispute about availability needs.
const (
	DefaultChanges     = 3 * 365 * 24 * time.Hour
	DefaultDeadLetters = 90 * 24 * time.Hour

	leastChanges     = 30 * 24 * time.Hour
	leastDeadLetters = 24 * time.Hour
)

type fileRetention struct {
	Changes     *span `yaml:"changes"`
	DeadLetters *span `yaml:"dead_letters"`
}

func (l *loader) retention(f *fileRetention) {
	r := &l.cfg.Retention
	given(&r.Changes, (*time.Duration)(f.Changes))
	given(&r.DeadLetters, (*time.Duration)(f.DeadLetters))
	if r.Changes < leastChanges {
		l.fault("$.retention.changes", "use 30d or more", "the log of changes would be kept for %s only", days(r.Changes))
	}
	if r.DeadLetters < leastDeadLetters {
		l.fault("$.retention.dead_letters", "use 1d or more", "webhooks that were given up would be kept for %s only", days(r.DeadLetters))
	}
}

func days(d time.Duration) string {
	if d >= 24*time.Hour {
		return fmt.Sprintf("%dd", d/(24*time.Hour))
	}
	return d.String()
}
