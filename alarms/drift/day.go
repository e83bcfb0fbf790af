package drift

import "math"

const (
	finalDays    = 14   // a baseline may be final
	longestDays  = 28   // it is taken even so
	acceptSlope  = 2    // standard errors of the slope that a sound commissioning may show
	acceptMove   = 0.03 // dB between its halves that do not matter
	clearDays    = 14   // days a drift must look over
	clearShare   = 0.5  // of the thresholds: below it a drift looks over
	calmSlope    = 1    // standard errors
	worse        = 6    // rungs, half as much again, that an alarm that stands must climb to be told anew
	stepsOverSum = 1e-3
)

// closeDay gives the day's value to the filter and judges.
func (s *Series) closeDay(c *Settings, t *Turn) {
	s.closeBursts(t)
	filled := s.filled
	heat := s.heatToday
	s.filled, s.heatToday = 0, 0
	if filled < minHours {
		return
	}
	t.Measured = true
	warmth := heat / float32(filled)
	s.yesterhot = warmth
	s.yesterday += s.median(filled)
	y := s.yesterday + s.f.beta*warmth
	s.age = min(s.age+1, math.MaxUint16-1)
	switch s.phase {
	case Prior:
		s.begin(y, warmth)
	case Provisional:
		s.commission(y, warmth, t)
	default:
		s.update(c, y, warmth)
		s.judge(c, t)
	}
}

// begin takes the first day as the provisional baseline.
func (s *Series) begin(y, warmth float32) {
	s.phase = Provisional
	s.deep, s.high = runs{}, runs{}                 // of a noise not yet known
	s.before = max(0, s.before-max(0, s.f.level-y)) // what the visit gained
	s.move(y)
	s.tref, s.yesterhot, s.yesterday = s.tref+warmth, 0, 0
	s.f.level = 0
	s.f.p00 = s.f.noise
}

// move makes loss the new nought.
func (s *Series) move(loss float32) {
	s.origin -= loss
	s.last -= loss
	s.yesterday -= loss
	s.f.level -= loss
}

// commission learns, and ends when the statistics accept.
func (s *Series) commission(y, warmth float32, t *Turn) {
	s.f.predict(0, 0, 0)
	before := s.f.level + s.f.beta*warmth
	s.look(y, warmth)
	n := float32(min(s.age, finalDays)) + 7
	nu := max(-0.1, min(y-before, 0.1))
	s.f.noise = max(floorDay*floorDay, s.f.noise+(nu*nu-s.f.noise)/n)
	if s.age < finalDays {
		return
	}
	sound := s.accepted()
	if !sound && s.age < longestDays {
		return
	}
	s.phase = Final
	if !sound {
		s.phase = Doubtful
	}
	s.f.still()
	level := s.f.level
	s.move(level)
	s.steps = 0
	if !s.active.Has(visited) {
		s.first = s.origin
		t.settled = float32(root(s.f.noise))
	}
	s.f.settle()
}

// accepted tells whether commissioning looks like a point at rest.
func (s *Series) accepted() bool {
	slope := s.f.slope
	se := float32(root(s.f.p11))
	half := slope * finalDays / 2
	return s.down == 0 && (abs(slope) < acceptSlope*se || abs(half) < acceptMove)
}

func abs(x float32) float32 { return max(x, -x) }

// update is a day of a point in service.
func (s *Series) update(c *Settings, y, warmth float32) {
	s.f.predict(c.LevelNoise*c.LevelNoise, c.SlopeNoise*c.SlopeNoise, c.TempNoise*c.TempNoise)
	before := s.f.level
	s.look(y, warmth)
	if s.settling > 0 {
		s.settling--
		if s.active.Has(Step) {
			s.steps += s.f.level - before
		}
	}
}

// look gives a day to the filter.
func (s *Series) look(y, warmth float32) {
	switch z := s.f.observe(y, warmth, s.lean); {
	case z >= leaning:
		s.lean = min(max(s.lean, 0)+1, leanDays)
	case z <= -leaning:
		s.lean = max(min(s.lean, 0)-1, -leanDays)
	default:
		s.lean = 0
	}
}

// judge raises and clears drift and its mirror.
func (s *Series) judge(c *Settings, t *Turn) {
	t.AtRisk = !s.active.Has(Drift) && !s.active.Has(Step)
	score := s.score(c, 1)
	mirror := s.score(c, -1)
	switch {
	case s.active.Has(Drift):
		if r := rung(score); r >= s.peak+worse {
			s.peak = r
			t.Worse |= Drift
		}
	case score >= c.DriftScale:
		t.Raised |= s.raise(Drift)
		s.peak = rung(score)
	default:
		s.peak, t.drift = climb(s.peak, mirror)
	}
	if mirror >= c.DriftScale && !s.active.Has(MirrorDrift) {
		t.Raised |= s.raise(MirrorDrift)
	}
	s.calmed(score < clearShare*c.DriftScale && (!s.active.Has(Step) || s.f.level < clearStep), t)
	if mirror < clearShare*c.DriftScale {
		s.active &^= MirrorDrift
	}
}

// score is how far the series has come towards an alarm at scale 1, in the
// direction of sign.
func (s *Series) score(c *Settings, sign float32) float32 {
	lost := sign * (s.f.level - s.steps)
	x := max(0, lost) / c.Level
	if z := sign * s.f.slope / float32(root(s.f.p11)); lost > c.SlopeMin && z > 0 {
		z /= c.SlopeZ
		x = float32(math.Cbrt(float64(x*x*x + z*z*z)))
	}
	score := x
	if sign > 0 && s.before > stepsOverSum {
		score = max(score, (s.before+lost)/c.SumLimit)
	}
	return score
}

// calmed clears drift and step after enough days that look well.
func (s *Series) calmed(well bool, t *Turn) {
	if s.active&(Drift|Step) == 0 || !well {
		s.calm = 0
		return
	}
	if s.calm++; s.calm >= clearDays {
		t.Cleared |= s.active & (Drift | Step)
		if s.active.Has(Drift) {
			s.peak = 0
		}
		s.active &^= Drift | Step
		s.steps, s.calm = 0, 0
	}
}

// closeBursts ends bursts when their balance is used up.
func (s *Series) closeBursts(t *Turn) {
	s.deep.nextDay()
	s.high.nextDay()
	if s.deep.level == 0 && s.active.Has(Intermittent) {
		t.Cleared |= s.clear(Intermittent)
	}
	if s.high.level == 0 {
		s.active &^= MirrorIntermittent
	}
}

func (s *Series) raise(k Kinds) Kinds {
	if s.active.Has(k) {
		return 0
	}
	if k&Faults == 0 {
		if s.active&Faults != 0 { // what comes back from a fault is no mirror
			return 0
		}
		s.mirrors = uint8(min(int(s.mirrors)+1, math.MaxUint8))
		if k == MirrorStep { // has no duration
			return k
		}
	} else if s.active&Faults == 0 {
		s.since = s.hour()
	}
	s.active |= k
	return k
}

func (s *Series) clear(k Kinds) Kinds {
	s.active &^= k
	return k
}
