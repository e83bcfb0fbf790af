package collector

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/robfig/cron/v3"
)

// A Schedule says when something begins. The zero Schedule never begins.
// Values are immutable and safe for concurrent use.
type Schedule struct {
	every time.Duration // of an @every schedule; else 0
	cron  cron.Schedule
}

// maxSpread bounds how late the last member of a crowd begins.
const maxSpread = time.Minute

// everyPrefix opens an interval; the rest is a Go duration.
const everyPrefix = "@every "

var cronParser = cron.NewParser(cron.Minute | cron.Hour | cron.Dom | cron.Month | cron.Dow | cron.Descriptor)

// ParseSchedule reads "@every 30s" or a cron expression of five fields
// (minute, hour, day of month, month, day of week) or @hourly, @daily,
// @weekly, @monthly. A cron expression is meant in the zone loc; nil is UTC.
func ParseSchedule(spec string, loc *time.Location) (Schedule, error) {
	spec = strings.TrimSpace(spec)
	if rest, ok := strings.CutPrefix(spec, everyPrefix); ok {
		return parseEvery(rest)
	}
	if strings.HasPrefix(spec, "TZ=") || strings.HasPrefix(spec, "CRON_TZ=") {
		return Schedule{}, errors.New("a schedule carries no time zone of its own: set time_zone of the site")
	}
	parsed, err := cronParser.Parse(spec)
	if err != nil {
		return Schedule{}, fmt.Errorf("schedule %q: %w; write \"@every 30s\" or five cron fields such as \"*/5 * * * *\"", spec, err)
	}
	if s, ok := parsed.(*cron.SpecSchedule); ok {
		if loc == nil {
			loc = time.UTC
		}
		s.Location = loc
	}
	if parsed.Next(time.Date(2024, 1, 1, 0, 0, 0, 0, time.UTC)).IsZero() {
		return Schedule{}, fmt.Errorf("schedule %q never comes: that date does not exist", spec)
	}
	return Schedule{cron: parsed}, nil
}

func parseEvery(text string) (Schedule, error) {
	d, err := time.ParseDuration(strings.TrimSpace(text))
	if err != nil {
		return Schedule{}, fmt.Errorf("interval %q: write a duration such as 30s, 5m or 1h", text)
	}
	if d <= 0 {
		return Schedule{}, fmt.Errorf("interval %q: must be longer than zero", text)
	}
	return Schedule{every: d}, nil
}

// Next returns the first beginning after t. An interval is counted from the
// Unix epoch, so that it keeps its places over a restart.
func (s Schedule) Next(t time.Time) time.Time { return s.NextAt(t, 0) }

// NextAt is Next for the member of a crowd that stands at fraction, 0 <=
// fraction < 1: members of an interval are spread over the whole of it,
// members of a cron schedule over the first tenth of the gap to the next
// beginning, at most maxSpread.
func (s Schedule) NextAt(t time.Time, fraction float64) time.Time {
	switch {
	case s.every > 0:
		phase := time.Duration(fraction * float64(s.every))
		return t.Add(s.every - mod(time.Duration(t.UnixNano())-phase, s.every))
	case s.cron != nil:
		// A beginning of the last minute may still have late members.
		begin := s.cron.Next(t.Add(-maxSpread))
		if at := begin.Add(s.spread(begin, fraction)); at.After(t) {
			return at
		}
		begin = s.cron.Next(t)
		return begin.Add(s.spread(begin, fraction))
	}
	return time.Time{}
}

func (s Schedule) spread(begin time.Time, fraction float64) time.Duration {
	gap := s.cron.Next(begin).Sub(begin)
	return time.Duration(fraction * float64(min(gap/10, maxSpread)))
}

// Period returns the time between the next two beginnings after t; with a
// cron expression that can differ from one to the next.
func (s Schedule) Period(t time.Time) time.Duration {
	if s.every > 0 {
		return s.every
	}
	if s.cron == nil {
		return 0
	}
	next := s.cron.Next(t)
	return s.cron.Next(next).Sub(next)
}

func mod(a, b time.Duration) time.Duration {
	r := a % b
	if r < 0 {
		r += b
	}
	return r
}
