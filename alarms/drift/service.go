package drift

// Freeze stops judging: work begins at the point, or somebody is about to. A
// series that is frozen takes no readings into account until Rebase or Resume.
func (s *Series) Freeze(c *Settings, at int64) {
	if s.phase == Empty || s.quiet == frozen {
		return
	}
	s.finishHour(c)
	s.quiet = frozen
}

// Resume ends a freeze, after planned work that changed nothing: the baseline
// stays. What is read in the first two hours is not judged.
func (s *Series) Resume(at int64) {
	if s.quiet == frozen {
		s.quiet = uint32(min(max(at, 0)+coldStart, frozen-1))
	}
}

// Rebase ends a freeze after a recorded visit that began with Freeze: the
// series takes a new baseline, provisional after a day and final after
// fourteen. It keeps its temperature coefficient, its noise and its first
// baseline; what was lost before the visit stays counted in SinceFirstDB, less
// what the visit gained. Alarms that stand are over.
func (s *Series) Rebase(at int64) {
	if s.phase == Empty {
		return
	}
	if s.phase >= Final {
		s.before = max(0, s.before+s.f.level)
	}
	level := s.f.level
	s.phase, s.age = Prior, 0
	s.active, s.calm, s.lean, s.steps, s.settling = visited, 0, 0, 0, 0
	s.down, s.up, s.downFor, s.upFor, s.peak, s.climb = 0, 0, 0, 0, 0, 0
	s.deep, s.high = runs{}, runs{}
	s.filled, s.heatToday, s.count, s.warm, s.sum, s.heat = 0, 0, 0, 0, 0, 0
	s.stretch = 2 // the new level may be far away
	s.f.restart(level)
	s.quiet = uint32(min(max(at, 0)+coldStart, frozen-1))
}

// finishHour closes the hour under way without a verdict.
func (s *Series) finishHour(c *Settings) {
	var t Turn
	down, up := s.down, s.up
	active, mirrors, since := s.active, s.mirrors, s.since
	s.closeHour(c, &t)
	s.down, s.up, s.active, s.mirrors, s.since = down, up, active, mirrors, since
}
