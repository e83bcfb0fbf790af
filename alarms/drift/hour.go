package drift

import "slices"

const (
	hundredth     = 100  // of a dB, the unit of hours
	smooth        = 64   // readings over which spread is averaged
	minShare      = 4    // an hour counts when a quarter of its readings came
	minHours      = 6    // a day counts with so many hours
	longestBursts = 14   // days without one, at most, that end an alarm
	burstCap      = 5    // bursts of one day that count
	burstHold     = 3    // bursts that stay in the balance when an alarm is raised, so that it stands six days
	garbage       = 7    // dB; a single reading so far off may be nonsense and counts as half a burst
	fastPolls     = 24   // readings an hour from which one alone makes no burst
	burstTime     = 120  // so many readings an hour make 30 s each; a burst lasts that long
	provision     = 2    // factor on step limits while the temperature coefficient is not known
	clearStep     = 0.15 // dB of steps that may stay when a step is over
)

// excursion follows bursts; d is the loss against the last hour.
func (s *Series) excursion(c *Settings, d float32) Kinds {
	limit := max(c.BurstDepth, c.BurstNoise*s.spread)
	size := max(d, -d)
	s.spread += (min(size, c.Clip) - s.spread) / smooth
	if size <= limit && s.deep.polls|s.high.polls == 0 {
		return 0
	}
	need := uint8(1)
	if s.usual >= fastPolls {
		need = uint8(max(2, min(s.usual/burstTime, 255)))
	}
	var raised Kinds
	weight := uint8(2)
	if need == 1 && size > garbage {
		weight = 1
	}
	if s.deep.poll(d > limit, need, weight) && s.deep.balance() >= c.BurstLimit {
		raised |= s.burst(&s.deep, Intermittent)
	}
	if s.high.poll(d < -limit, need, weight) && s.high.balance() >= c.BurstLimit {
		raised |= s.burst(&s.high, MirrorIntermittent)
	}
	return raised
}

// burst raises k unless it stands already, and keeps it for some days.
func (s *Series) burst(r *runs, k Kinds) Kinds {
	if s.phase <= Prior || s.active.Has(k) {
		return 0
	}
	r.level = max(r.level, 2*burstHold)
	return s.raise(k)
}

// poll tells whether an excursion begins, in this half-hour and not in the one
// before, and counts it for so many halves.
func (r *runs) poll(beyond bool, need, weight uint8) bool {
	if !beyond {
		r.polls = 0
		return false
	}
	r.polls = min(r.polls+1, 254)
	if r.polls < need || r.slots&1 != 0 {
		return false
	}
	r.slots |= 1
	if r.slots&2 != 0 {
		return false
	}
	r.today = min(r.today+weight, 250)
	return true
}

func (r *runs) nextSlot() { r.slots = r.slots << 1 & 3 }

// balance is what past days left, and today's excursions.
func (r *runs) balance() float32 {
	return max(0, float32(r.level)+float32(min(r.today, 2*burstCap))-1) / 2
}

func (r *runs) nextDay() {
	r.level = uint8(min(2*r.balance(), longestBursts))
	r.today = 0
}

// closeHour makes the hour's value and looks for a step.
func (s *Series) closeHour(c *Settings, t *Turn) {
	n, warm := s.count, s.warm
	sum, heat := s.sum, s.heat
	s.count, s.warm, s.sum, s.heat = 0, 0, 0, 0
	if n == 0 {
		return
	}
	if n > s.usual {
		s.usual = n
	} else {
		s.usual -= (s.usual - n + 15) / 16
	}
	if n*minShare < s.usual {
		return
	}
	mean := sum / float32(n)
	if edge := 0.9 * c.Clip * float32(int(1)<<s.stretch); mean > edge || mean < -edge {
		s.stretch = min(s.stretch+1, 6)
	} else {
		s.stretch = 0
	}
	s.last += mean
	warmth := s.yesterhot // the best guess
	if warm > 0 {
		if s.tref != s.tref {
			s.tref, s.yesterhot = heat/float32(warm), 0
		}
		warmth = heat/float32(warm) - s.tref
	}
	value := s.last - s.f.beta*warmth
	e := value - s.yesterday
	if s.phase == Prior && s.filled == 0 {
		s.yesterday, e = value, 0
	}
	if warm > 0 && s.phase == Provisional {
		s.f.regress(s.last-s.yesterday-s.f.beta*s.yesterhot, warmth-s.yesterhot)
	}
	if s.filled < dayHours {
		s.hours[s.filled] = int8(max(-127, min(round(e*hundredth), 127)))
		s.filled++
		s.heatToday += warmth
	}
	if s.phase > Prior {
		s.stepRule(c, e, t)
	}
}

func round(x float32) float32 {
	if x < 0 {
		return float32(int(x - 0.5))
	}
	return float32(int(x + 0.5))
}

// stepRule adds the hour's difference to both sums.
func (s *Series) stepRule(c *Settings, e float32, t *Turn) {
	limit := c.StepLimit * c.StepScale
	if s.phase == Provisional {
		limit *= provision
	}
	clipped := max(-1, min(e, 1))
	s.down, s.downFor = cusum(s.down, clipped-c.StepSlack, s.downFor)
	s.up, s.upFor = cusum(s.up, -clipped-c.StepSlack, s.upFor)
	if s.steps <= clearStep { // a way back up is no mirror
		s.climb, t.step = climb(s.climb, s.up/c.StepLimit)
	}
	switch {
	case s.down >= limit:
		t.Raised |= s.raise(Step)
		s.shift(max(e, s.down/float32(s.downFor)+c.StepSlack))
	case s.up >= limit:
		gain := max(-e, s.up/float32(s.upFor)+c.StepSlack)
		if s.steps > clearStep {
			s.shift(-gain)
			if s.steps <= clearStep && s.active.Has(Step) {
				t.Cleared |= s.clear(Step)
			}
			return
		}
		t.Raised |= s.raise(MirrorStep)
		s.shift(-gain)
		s.steps = max(s.steps, 0)
	}
}

func cusum(c, by float32, hours uint8) (float32, uint8) {
	if c += by; c <= 0 {
		return 0, 0
	}
	return c, uint8(min(int(hours)+1, 255))
}

// shift moves the level by a step and begins the day anew at it.
func (s *Series) shift(by float32) {
	s.f.jump(by)
	s.steps += by
	s.yesterday += by
	s.settling = 4
	s.down, s.up, s.downFor, s.upFor = 0, 0, 0, 0
	s.filled, s.heatToday = 0, 0
}

// median of today's hours, as a distance from yesterday in dB; interpolated
// between the two in the middle.
func (s *Series) median(n uint8) float32 {
	h := s.hours
	v := h[:n]
	slices.Sort(v)
	return (float32(v[(n-1)/2]) + float32(v[n/2])) / (2 * hundredth)
}
