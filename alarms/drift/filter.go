package drift

import "math"

// filter is a Kalman filter of three states: level, slope per day, and loss per
// °C, with the upper triangle of their covariance.
type filter struct {
	level, slope, beta           float32
	p00, p01, p02, p11, p12, p22 float32
	noise                        float32 // variance of a day's value
}

// What is assumed before the first day.
const (
	priorDay      = 0.02  // dB, noise of a day's value; counts as seven days
	floorDay      = 0.008 // dB
	priorSlope    = 2e-3  // dB per day, while commissioning
	settledSlope  = 2e-4  // dB per day, once the baseline is final
	priorBeta     = 0.02  // dB per °C
	regressedBeta = 0.006 // dB per °C, the best that hours can tell: thermal lag biases them

	hasty    = 1.5 // standard errors; a day farther off counts as there ...
	farthest = 4   // ... but up to here if so many days
	leanDays = 2   // in a row before it
	leaning  = 1   // were so far off the same way

	usualNoise = 0.0223 // dB, geometric mean of the noise of a day's value in the fleet of drifttest
	trusted    = 0.6    // what fourteen days tell of the noise counts so much, the usual the rest, of the logarithm
	inService  = 0.85   // part of the variance that is left when the temperature coefficient is known
	tiny       = 1e-12
	stepDoubt  = 0.15 // dB, error of the size of a step when it is found
)

func newFilter() filter {
	return filter{p00: 0.1 * 0.1, p11: priorSlope * priorSlope, p22: priorBeta * priorBeta, noise: priorDay * priorDay}
}

// predict moves the state on by one day.
func (f *filter) predict(levelVar, slopeVar, betaVar float32) {
	f.level += f.slope
	f.p00 += 2*f.p01 + f.p11 + levelVar
	f.p01 += f.p11
	f.p02 += f.p12
	f.p11 += slopeVar
	f.p22 += betaVar
}

// observe takes a day's value y at warmth degrees over the reference. It
// returns how far off it was in standard errors. A day far off counts only in
// part until lean, the days in a row before it that were off the same way,
// makes it likely: weather goes again, a fault stays.
func (f *filter) observe(y, warmth float32, lean int8) float32 {
	g0 := f.p00 + f.p02*warmth
	g1 := f.p01 + f.p12*warmth
	g2 := f.p02 + f.p22*warmth
	v := g0 + g2*warmth + f.noise
	se := float32(math.Sqrt(float64(v)))
	nu := y - f.level - f.beta*warmth
	z := nu / se
	above, below := hasty*se, -hasty*se
	if lean >= leanDays {
		above = farthest * se
	} else if lean <= -leanDays {
		below = -farthest * se
	}
	nu = max(below, min(nu, above))
	f.correct(g0, g1, g2, v, nu)
	return z
}

// regress improves beta by one hour that lies dy from yesterday's level at dT
// from its temperature. Hours depend on each other, so that each counts little.
func (f *filter) regress(dy, dT float32) {
	const hourVar = 0.2 * 0.2
	if f.p22 < regressedBeta*regressedBeta {
		return
	}
	g0, g1, g2 := f.p02*dT, f.p12*dT, f.p22*dT
	f.correct(g0, g1, g2, g2*dT+hourVar, dy-f.beta*dT)
}

// correct moves the state by an innovation nu of variance v, given the
// covariances g of the states with it.
func (f *filter) correct(g0, g1, g2, v, nu float32) {
	k0, k1, k2 := g0/v, g1/v, g2/v
	f.level += k0 * nu
	f.slope += k1 * nu
	f.beta += k2 * nu
	f.p00 = max(f.p00-k0*g0, tiny)
	f.p01 -= k0 * g1
	f.p02 -= k0 * g2
	f.p11 = max(f.p11-k1*g1, tiny)
	f.p12 -= k1 * g2
	f.p22 = max(f.p22-k2*g2, tiny)
}

// still conditions the state on a slope of nought, and forgets how sure it was.
func (f *filter) still() {
	if f.p11 > 0 {
		k0, k2 := f.p01/f.p11, f.p12/f.p11
		f.level -= k0 * f.slope
		f.beta -= k2 * f.slope
		f.p00 -= k0 * f.p01
		f.p02 -= k0 * f.p12
		f.p22 -= k2 * f.p12
	}
	f.slope, f.p01, f.p12 = 0, 0, 0
	f.p11 = settledSlope * settledSlope
}

// settle takes a value between what commissioning told of the noise and the
// usual one: few days tell little of it.
func (f *filter) settle() {
	const usual = usualNoise * usualNoise
	told := float64(f.noise) / usual
	f.noise = max(floorDay*floorDay, inService*usual*float32(math.Pow(told, trusted)))
}

// jump moves the level without telling the slope.
func (f *filter) jump(by float32) {
	f.level += by
	f.p00 += stepDoubt * stepDoubt
}

// restart forgets the slope; it keeps the level as that before, the temperature
// coefficient, now a little less sure, and the noise.
func (f *filter) restart(level float32) {
	n := newFilter()
	n.level, n.beta, n.p22, n.noise = level, f.beta, 2*f.p22, f.noise
	*f = n
}
