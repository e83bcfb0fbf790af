package diagnosis

import (
	"math"

	"lightwell/alarms"
)

const (
	// unlikely is the probability of a state that nothing explains.
	unlikely = 1e-6
	// outlier is the log likelihood below which a level does not fall: any
	// reading may be wrong for a reason that is not in the table.
	outlier = -15.0
	// oddSigma is from how many standard deviations on a level asks for a cause.
	oddSigma = 3.5
)

// expect works out what the cell says of what is expected so far.
func (c *cell) expect() {
	if !c.known {
		return
	}
	if c.signal.state() {
		c.base = stateLog(c.d, c.mean)
		c.odd = c.d == 1 && c.mean < 0.1
		return
	}
	sd := math.Sqrt(c.sd*c.sd + c.vari)
	c.base = levelLog(c.d-c.mean, sd)
	c.odd = math.Abs(c.d-c.mean) > oddSigma*sd
}

// stateLog returns the log likelihood of a state that is 1 with probability p.
func stateLog(d, p float64) float64 {
	p = min(max(p, unlikely), 1-unlikely)
	if d == 1 {
		return math.Log(p)
	}
	return math.Log1p(-p)
}

// levelLog returns the log likelihood of a residual, up to a constant: normal,
// with an end to how unlikely it can be.
func levelLog(r, sd float64) float64 {
	z := r / sd
	return max(-z*z/2-math.Log(sd), outlier)
}

// touch is an effect at a cell.
type touch struct {
	cell          int
	fixed         float64
	per           float64
	spread        float64
	spreadPerSize float64
	part          float64 // of the light at a receiver that the cause strikes; 1: all
}

// at returns what the touch adds to a level at a size, with its variance.
//
// Where a part p of the light at a receiver loses s decibels, the whole loses
// -10·log10(1 - p·(1 - 10^(-s/10))): powers add in milliwatts.
func (t *touch) at(size float64) (mean, vari float64) {
	if t.part < 1 {
		size = -10 * math.Log10(1-t.part*(1-math.Pow(10, -size/10)))
	}
	sd := t.spread + t.spreadPerSize*size
	if t.part < 1 {
		sd += 0.2 + 0.3*size // how even the parts are is not known
	}
	return t.fixed + t.per*size, sd * sd
}

// fitted is how well a hypothesis explains the vector.
type fitted struct {
	size  float64
	gain  float64 // log likelihood against what is expected without it
	sized bool
}

// fit finds the size at which the touches explain their cells best, and how
// much better that is than without them. The free size is paid for: the
// evidence of a hypothesis is its likelihood averaged over the sizes that it
// allows, log-uniform from least to greatest, by Laplace's approximation.
func (s *site) fit(sig *Signature, touches []touch) fitted {
	f := fitted{sized: sig.Max > 0}
	varying := 0
	for i := range touches {
		t := &touches[i]
		c := &s.cells[t.cell]
		switch {
		case c.signal.state():
			f.gain += stateLog(c.d, 1-(1-c.mean)*(1-t.fixed)) - c.base
		case t.per != 0 || t.spreadPerSize != 0:
			touches[i], touches[varying] = touches[varying], touches[i]
			varying++
		default:
			f.gain += levelLog(c.d-c.mean-t.fixed, math.Sqrt(c.sd*c.sd+c.vari+t.spread*t.spread)) - c.base
		}
	}
	if !f.sized {
		return f
	}
	vary := touches[:varying]
	best := math.Inf(-1)
	try := func(size float64) {
		size = min(max(size, sig.Min), sig.Max)
		if g := s.gainAt(vary, size); g > best {
			best, f.size = g, size
		}
	}
	for i := range vary {
		if t := &vary[i]; t.per != 0 && i < 5 {
			c := &s.cells[t.cell]
			try(t.sizeFor(c.d - c.mean))
		}
	}
	if varying == 0 || math.IsInf(best, -1) {
		try(sig.Min)
	}
	step, info := s.refine(vary, f.size)
	try(step)
	f.gain += best
	if info > 0 {
		f.gain += min(0, math.Log(math.Sqrt(2*math.Pi/info)/(f.size*math.Log(sig.Max/sig.Min))))
	}
	return f
}

// sizeFor returns the size that explains a level fully.
func (t *touch) sizeFor(d float64) float64 {
	size := (d - t.fixed) / t.per
	if t.part < 1 && size > 0 {
		rest := 1 - (1-math.Pow(10, -size/10))/t.part
		size = -10 * math.Log10(max(rest, 1e-3))
	}
	return size
}

func (s *site) gainAt(vary []touch, size float64) float64 {
	sum := 0.0
	for i := range vary {
		c := &s.cells[vary[i].cell]
		mean, vari := vary[i].at(size)
		sum += levelLog(c.d-c.mean-mean, math.Sqrt(c.sd*c.sd+c.vari+vari)) - c.base
	}
	return sum
}

// refine does one step of least squares from a size, without outliers, and
// returns the information there: the inverse of the variance of the size.
func (s *site) refine(vary []touch, size float64) (better, info float64) {
	sum := 0.0
	for i := range vary {
		t := &vary[i]
		c := &s.cells[t.cell]
		mean, vari := t.at(size)
		v := c.sd*c.sd + c.vari + vari
		r := c.d - c.mean - mean
		if r*r > 25*v {
			continue
		}
		sum += t.per * r / v
		info += t.per * t.per / v
	}
	if info == 0 {
		return size, 0
	}
	return size + sum/info, info
}

// shapeGain returns what the course in time says: of the cell that deviates
// most among those that the cause moves.
func (s *site) shapeGain(sig *Signature, touches []touch) float64 {
	shape, most := alarms.ShapeUnknown, oddSigma
	for i := range touches {
		c := &s.cells[touches[i].cell]
		if z := math.Abs(c.d-c.mean) / c.sd; !c.signal.state() && touches[i].per != 0 && c.shape != alarms.ShapeUnknown && z > most {
			shape, most = c.shape, z
		}
	}
	p := sig.Shapes[shape]
	if shape == alarms.ShapeUnknown || p == 0 {
		return 0
	}
	return math.Log(3 * p)
}

// absorb takes what a hypothesis explains into what is expected.
func (s *site) absorb(touches []touch, size float64) {
	for i := range touches {
		t := &touches[i]
		c := &s.cells[t.cell]
		if c.signal.state() {
			c.mean = 1 - (1-c.mean)*(1-t.fixed)
		} else {
			mean, vari := t.at(size)
			c.mean, c.vari = c.mean+mean, c.vari+vari
		}
		c.expect()
	}
}
