package budget

import "math"

// A Range is what a value lies between, and Middle what to expect.
type Range struct{ Low, Middle, High float64 }

// Exact tells whether the range is a point.
func (r Range) Exact() bool { return r.Low == r.High }

// LinkNoise is what is known of the noise of a link: one curve where its noise
// figure is known at three losses, else those between which it must lie. The
// zero value knows nothing.
type LinkNoise struct{ low, middle, high Curve }

// NewLinkNoise returns what noise figures tell. Of one figure, beyond its loss
// by x dB, it follows that the noise figure lies between the same (limited by
// the laser's noise) and 2·x more (limited by thermal noise), and is x more
// when shot noise rules: the three terms of a Curve, each alone.
func NewLinkNoise(points []NoisePoint) (LinkNoise, error) {
	if len(points) == 1 {
		x, f := points[0].Loss.Ratio(), points[0].NoiseFigure.Ratio()
		if !(f >= 1) || math.IsInf(f, 0) || !(x > 0) || math.IsInf(x, 0) {
			return LinkNoise{}, ErrNoise
		}
		return LinkNoise{Curve{A: f}, Curve{B: f / x}, Curve{C: f / (x * x)}}, nil
	}
	c, err := FitCurve(points)
	return LinkNoise{c, c, c}, err
}

// Known tells whether n was made from any noise figure.
func (n LinkNoise) Known() bool { return n != LinkNoise{} }

// of returns the range of a value that each curve gives.
func (n LinkNoise) of(value func(Curve) DB) Range {
	a, b := float64(value(n.low)), float64(value(n.high))
	return Range{min(a, b), float64(value(n.middle)), max(a, b)}
}

// NoiseFigure returns the noise figure at an optical loss.
func (n LinkNoise) NoiseFigure(loss DB) Range {
	return n.of(func(c Curve) DB { return c.NoiseFigure(loss) })
}

// A Front is everything before the laser: antenna, amplifiers, coax.
type Front struct {
	Gain        DB
	NoiseFigure DB
	AntennaK    float64 // about 130 K under an open sky (a GNSS receiver manual, 2.4.2)
}

// Kelvin returns the noise temperature of antenna and front together.
func (f Front) Kelvin() float64 { return f.AntennaK + RefTempK*(f.NoiseFigure.Ratio()-1) }

// Lost returns by how much a link of a noise factor lowers C/N0:
//
//	10·log10(1 + (F_link − 1)/(g_pre·(T_A/T0 + F_pre − 1)))
//
// from the cascade of noise (Friis); what follows the link is neglected.
func (f Front) Lost(linkFactor float64) DB {
	return Decibels(1 + (linkFactor-1)*RefTempK/(f.Gain.Ratio()*f.Kelvin()))
}

// bears returns the noise factor of a link that costs so much C/N0.
func (f Front) bears(lost DB) float64 {
	return 1 + (lost.Ratio()-1)*f.Gain.Ratio()*f.Kelvin()/RefTempK
}

// CarrierToNoise returns C/N0 in dB-Hz of a carrier at a noise temperature:
//
//	C/N0 = C − 10·log10(k·T)        (a GNSS receiver manual, 2.4.2)
func CarrierToNoise(carrier DBm, kelvin float64) DB { return carrier.Above(ThermalDensity(kelvin)) }

// A Service is what the radio signal of a link must be good for.
type Service struct {
	Front
	Carrier DBm // at the antenna's output
	CN0Min  DB  // lowest C/N0 in dB-Hz it works with
}

// CN0 returns C/N0 behind a link at an optical loss.
func (s Service) CN0(n LinkNoise, loss DB) Range {
	in := CarrierToNoise(s.Carrier, s.Kelvin())
	return n.of(func(c Curve) DB { return in - s.Lost(c.Factor(loss)) })
}

// CN0Lost returns how much lower C/N0 is at an optical loss than at another.
// No knowledge of the carrier is needed for it.
func (s Service) CN0Lost(n LinkNoise, loss, before DB) Range {
	return n.of(func(c Curve) DB { return s.Lost(c.Factor(loss)) - s.Lost(c.Factor(before)) })
}

// Fails returns the optical loss at which C/N0 has fallen to CN0Min: the closed
// solution of CN0 for the loss. ±Inf: see Curve.Reaches.
func (s Service) Fails(n LinkNoise) Range {
	most := s.bears(CarrierToNoise(s.Carrier, s.Kelvin()) - s.CN0Min)
	return n.of(func(c Curve) DB { return c.Reaches(most) })
}

// AGCHolds returns how much optical loss a gain control makes up for that can
// take away so much less attenuation: half of it, because an optical decibel
// is two of RF. It hides every loss until then, and the level falls after it.
func AGCHolds(attenuation DB) DB { return attenuation / 2 }
