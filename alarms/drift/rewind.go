package drift

// Rewind has the series go on at a time before its newest reading, in Unix
// seconds: that was read by a clock that ran ahead. What the hour under way
// has gathered is given up, and nothing is judged for two hours; days that the
// clock made up stay counted.
func (s *Series) Rewind(at int64) {
	now := uint32(max(at, 0))
	if s.phase == Empty || s.at <= now {
		return
	}
	s.at = now
	s.count, s.warm, s.sum, s.heat = 0, 0, 0, 0
	s.since = min(s.since, s.hour())
	if s.quiet != frozen {
		s.quiet = now + coldStart
	}
}

// Rewind is that of Series, for a laser.
func (l *Laser) Rewind(at int64) {
	now := uint32(max(at, 0))
	if l.phase == LaserEmpty || l.at <= now {
		return
	}
	l.at, l.quiet = now, now+coldStart
	l.hour = int32(now / hourSeconds)
	l.count, l.sum, l.heat = 0, 0, 0
	a, today := &l.ageing, l.hour/dayHours
	a.began, a.judged, a.since = min(a.began, today), min(a.judged, today), min(a.since, today)
}
