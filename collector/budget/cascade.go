package budget

import "math"

// A Stage is one stage of a chain of amplifiers, cables and links.
type Stage struct{ Gain, NoiseFigure DB }

// Cascade returns gain and noise figure of stages in a row:
//
//	F = F1 + (F2 − 1)/g1 + (F3 − 1)/(g1·g2) + ...        (Friis)
func Cascade(stages ...Stage) Stage {
	gain, factor := DB(0), 1.0
	for _, s := range stages {
		factor += (s.NoiseFigure.Ratio() - 1) / gain.Ratio()
		gain += s.Gain
	}
	return Stage{gain, Decibels(factor)}
}

// Intercept returns the input intercept point of third order of two stages:
//
//	1/iip3 = 1/iip3_1 + g1/iip3_2        in milliwatts, worst phase
//
// (a usual text-book formula, from memory).
func Intercept(first DBm, gain DB, second DBm) DBm {
	p, _ := (1 / (1/first.Milliwatts() + Milliwatt(gain.Ratio())/second.Milliwatts())).DBm()
	return p
}

// SpuriousFree returns the dynamic range free of third-order products, in
// dB·Hz^(2/3), from the output intercept point and the output noise density:
// (2/3)·(OIP3 − N) (as Table 1 of Nature Communications 13, 2022,
// s41467-022-29590-0 uses it).
func SpuriousFree(outputIntercept, noise DBm) DB { return outputIntercept.Above(noise) * 2 / 3 }

// CompressionRange returns the dynamic range up to compression in dB·Hz, from
// the input power of 1 dB compression: P1dB + G − N (as the same table counts).
func CompressionRange(inputCompression DBm, gain DB, noise DBm) DB {
	return inputCompression.Plus(gain).Above(noise)
}

// OutputNoiseFigure returns the noise figure of a link of so much gain whose
// output has a noise density: N − G − 10·log10(k·T0).
func OutputNoiseFigure(noise DBm, gain DB) DB { return NoiseFigure(noise.Minus(gain)) }

// InBandwidth returns the power of a density within so many hertz.
func InBandwidth(density DBm, hertz float64) DBm { return density.Plus(Decibels(hertz)) }

// ModulationIndex returns how deep one carrier modulates a laser: its peak
// current in 50 ohm over what the bias is above threshold,
//
//	m = sqrt(2·P/R)/(I_b − I_th)
//
// All carriers together must stay below 1, or the laser clips.
func ModulationIndex(input DBm, aboveThresholdMA float64) float64 {
	watts := float64(input.Milliwatts()) / 1e3
	return math.Sqrt(2*watts/loadOhm) / (aboveThresholdMA * ampPerMA)
}
