package budget_test

import (
	"encoding/binary"
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/collector"
	"lightwell/collector/budget"
	"lightwell/collector/model"
)

// A check is one value that the sums must give. Calc: computed from the
// formula that source names; pub: a published number.
type check struct {
	n              int // number of the check value
	name           string
	got, want, tol float64
	source         string
}

// run05 is half a kilometre, four connector pairs, two splices.
var run05 = budget.Typical(0.5, 4, 2, 1310)

// Modes of fibre after ITU-T G.652.
var (
	mode1310 = budget.Mode{FieldDiameter: 9.2, Wavelength: 1.31}
	mode1550 = budget.Mode{FieldDiameter: 10.4, Wavelength: 1.55}
)

// laser41 is the worked laser: 8 mA, 0.2 W/A, 3 mW, T_char 60 K, T1 200 K.
var laser41 = budget.Laser{RefC: 25, Threshold: 8, ThresholdCharK: 60, Slope: 0.2, SlopeCharK: 200}

// level returns a power as a number, NaN for darkness.
func level(m budget.Milliwatt) float64 {
	p, ok := m.DBm()
	if !ok {
		return math.NaN()
	}
	return p.Float()
}

func db(d budget.DB) float64 { return float64(d) }

func powerChecks() []check {
	mean, _ := budget.Mean(budget.Level(-10), budget.Level(-20))
	dirty := budget.Level(1.5).Minus(13.0 + 3.8)
	faceLoss, faceReturn := budget.GlassFace(1.4677)
	return []check{
		{1, "-7.1 dBm in mW", float64(budget.Level(-7.1).Milliwatts()), 0.19498, 1e-5, "calc: definition of the decibel-milliwatt"},
		{2, "0.5 mW in dBm", level(0.5), -3.0103, 1e-4, "calc: definition of the decibel-milliwatt"},
		{3, "mean of -10 and -20 dBm", mean.Float(), -12.596, 0.001, "calc: mean of the milliwatts"},
		{4, "0.5 km, 4 pairs, 2 splices, typical", db(run05.Loss()), 1.275, 0.001, "calc: ITU-T G.652 Appendix I.1 (reprint), common planning values"},
		{5, "the same, outside plant", db(run05.Worst(false).Loss()), 3.85, 0.001, "calc: TIA-568 maxima (reprint)"},
		{5, "the same, premises", db(run05.Worst(true).Loss()), 4.10, 0.001, "calc: TIA-568 maxima (1.0 dB/km from memory)"},
		{6, "the same, mean + 3 sd", db(run05.Planned()), 2.007, 0.002, "calc: ITU-T G.957 clause 8.3, statistical design"},
		{6, "the same, sd", db(run05.SD()), 0.2439, 0.0005, "calc: ITU-T G.957 clause 8.3, statistical design"},
		{7, "published path, dirty: receive power", dirty.Float(), -15.3, 0.01, "pub: Fiber Connector Contamination Optical Loss Case Study, Atlas of Engineering"},
		{7, "published path, dirty: margin, below the reserve of 3.0", db(dirty.Above(budget.Level(-18))), 2.7, 0.01, "pub: same case study"},
		{7, "published path, cleaned: receive power", budget.Level(1.5).Minus(12.95).Float(), -11.45, 0.01, "pub: same case study"},
		{8, "glass face: return loss", db(faceReturn), 14.45, 0.01, "calc: Fresnel, n 1.4677"},
		{8, "glass face: loss", db(faceLoss), 0.159, 0.01, "calc: Fresnel, n 1.4677"},
		{9, "offset 2 µm at 1310 nm", db(mode1310.OffsetLoss(2)), 0.821, 0.002, "calc: Marcuse 1977 (from memory)"},
		{9, "offset 2 µm at 1550 nm", db(mode1550.OffsetLoss(2)), 0.642, 0.002, "calc: Marcuse 1977 (from memory)"},
		{9, "offset 3 µm at 1310 nm", db(mode1310.OffsetLoss(3)), 1.847, 0.002, "calc: Marcuse 1977 (from memory)"},
		{9, "tilt 1° at 1310 nm", db(mode1310.TiltLoss(1, 1.468)), 0.347, 0.002, "calc: Marcuse 1977 (from memory)"},
		{9, "tilt 1° at 1550 nm", db(mode1550.TiltLoss(1, 1.468)), 0.317, 0.002, "calc: Marcuse 1977 (from memory)"},
		{9, "air gap 50 µm at 1310 nm", db(mode1310.GapLoss(50)), 0.944, 0.002, "calc: Marcuse 1977 (from memory)"},
		{9, "air gap 50 µm at 1550 nm", db(mode1550.GapLoss(50)), 0.821, 0.002, "calc: Marcuse 1977 (from memory)"},
		{11, "beam from an 8° face, n 1.468", budget.BeamTurn(8, 1.468), 3.79, 0.01, "calc: Snell"},
		{11, "flat plug in an angled adaptor, gap 30 µm", db(mode1310.PolishMismatch(30, 1.468)), 3.8, 0.05, "calc: tilt, offset, gap and two faces"},
		{11, "the same, gap 50 µm", db(mode1310.PolishMismatch(50, 1.468)), 5.8, 0.05, "calc: tilt, offset, gap and two faces"},
		{11, "the same, gap 80 µm", db(mode1310.PolishMismatch(80, 1.468)), 10.5, 0.05, "calc: tilt, offset, gap and two faces"},
		{12, "delay of a kilometre in µs", budget.Delay(1, budget.GroupIndex), 4.896, 0.002, "calc: group index 1.4677 (typical, from memory)"},
		{13, "echo after 1 µs in m", budget.EchoDistance(1, budget.GroupIndex), 102.13, 0.05, "calc: the same"},
		{69, "136 mW", budget.Hazard1MAbove1400.Float(), 21.34, 0.01, "pub: guide of an optical platform that applies IEC 60825-2"},
		{69, "15.6 mW", budget.Class1At1310.Float(), 11.93, 0.01, "calc: IEC 60825-1:2007 (from memory)"},
		{69, "10 mW", budget.Class1At1550.Float(), 10, 1e-9, "IEC 60825-1 (from memory)"},
	}
}

// parts is the link of usual parts: 0.2 W/A, 0.9 A/W, 3 mW, RIN -155.
func parts(loss budget.DB) budget.Noise {
	return budget.Noise{SourceK: budget.RefTempK, Gain: budget.LinkGain(0.2, 0.9, loss), CurrentMA: 2.7 / loss.Ratio(), RIN: -155, ReceiverFactor: 1}
}

// inputNoise is what parts give, referred to the input.
func inputNoise(loss budget.DB) budget.DBm { return parts(loss).Density().Minus(parts(loss).Gain) }

// alone returns the density that shot noise and RIN make without the rest.
func alone(mA float64, rin budget.DB) float64 {
	const off = 1e-30
	return budget.Noise{SourceK: off, Gain: -300, CurrentMA: mA, RIN: rin, ReceiverFactor: off}.Density().Float()
}

// manualA is the noise of a fibre transmitter at 0, 8 and 17 dB.
func manualA() budget.Curve {
	at := func(loss budget.DB, ein float64) budget.NoisePoint {
		return budget.NoisePoint{Loss: loss, NoiseFigure: budget.NoiseFigure(budget.Level(ein))}
	}
	c, err := budget.FitCurve([]budget.NoisePoint{at(0, -150.4), at(8, -140.7), at(17, -123.8)})
	if err != nil {
		panic(err)
	}
	return c
}

func radioChecks() []check {
	ein := func(loss budget.DB) float64 { return budget.InputNoise(manualA().NoiseFigure(loss)).Float() }
	const rinOf10mA = -153.01
	return []check{
		{14, "kT0", budget.ThermalDensity(290).Float(), -173.975, 0.005, "calc: k·290 K"},
		{15, "shot noise, 1 mA, 50 Ω", alone(1, -400), -167.95, 0.02, "calc: 2·q·I·R; UCSB optoelectronics notes print -168, current not stated"},
		{16, "RIN -160, 10 mA, with its shot noise", alone(10, -160), 10 * math.Log10(math.Pow(10, rinOf10mA/10)+math.Pow(10, -15.795)), 0.02, "calc: RIN·I²·R; a public tutorial prints -173, it lost a factor 100"},
		{17, "shot noise, 10 mA", alone(10, -400), -157.95, 0.02, "pub: -158"},
		{18, "gain, s 0.2, r 0.8, 3 dB", db(budget.LinkGain(0.2, 0.8, 3)), -21.9, 0.05, "pub: rfessentials.com, RF gain from slope efficiency"},
		{19, "gain, s 0.2, r 0.9, 0 dB", db(budget.LinkGain(0.2, 0.9, 0)), -14.89, 0.01, "calc: parts of INAF-IRA, SKA/BEST optical links"},
		{20, "the same, 3 mW, RIN -155: noise figure", db(budget.NoiseFigure(inputNoise(0))), 30.98, 0.02, "calc: sum of the noises"},
		{20, "the same: input noise", inputNoise(0).Float(), -142.99, 0.02, "calc: sum of the noises"},
		{21, "the same, 10 dB: gain", db(parts(10).Gain), -34.89, 0.02, "calc: two to one"},
		{21, "the same, 10 dB: noise figure", db(budget.OutputNoiseFigure(parts(10).Density(), parts(10).Gain)), 38.64, 0.02, "calc: sum of the noises"},
		{22, "RF per optical dB, manual A", db(slope(17, 17.0, -16.5)), 1.971, 0.005, "pub: manual A, gain 17.0 to -16.5 dB over 17 dB"},
		{23, "RF per optical dB, manual B", db(slope(16, 16, -16)), 2, 0.005, "pub: manual B, gain 16 to -16 dB over 16 dB"},
		{24, "-147 dBm/Hz in 8 MHz", budget.InBandwidth(budget.Level(-147), 8e6).Float(), -77.97, 0.05, "pub: manual B prints -78"},
		{25, "manual A from three points: 10 dB", ein(10), -137.18, 0.1, "pub: manual A prints -137.2"},
		{26, "manual A from three points: 15 dB", ein(15), -127.71, 0.1, "pub: manual A prints -127.7"},
		{27, "manual A from three points: 2 dB", ein(2), -148.84, 0.15, "pub: manual A prints -148.9"},
		{28, "noise figure of -137.2 dBm/Hz", db(budget.NoiseFigure(budget.Level(-137.2))), 36.78, 0.03, "calc: EIN + 173.975"},
		{29, "cascade of five", db(budget.Cascade(budget.Stage{Gain: 20, NoiseFigure: 3}, budget.Stage{Gain: -0.5, NoiseFigure: 0.5}, budget.Stage{Gain: -6, NoiseFigure: 6}, budget.Stage{Gain: -1, NoiseFigure: 1}, budget.Stage{Gain: 30, NoiseFigure: 5}).NoiseFigure), 3.351, 0.005, "pub inputs: Harrison, Introduction to Radar Using Python and MATLAB (2019)"},
		{30, "cascade of two", db(budget.Cascade(budget.Stage{Gain: 15, NoiseFigure: 2.5}, budget.Stage{NoiseFigure: 10}).NoiseFigure), 3.14, 0.01, "pub: a GNSS receiver hardware manual, 2.4.2"},
		{33, "noise figure from output noise", db(budget.OutputNoiseFigure(budget.Level(-125.1), -3.6)), 52.5, 0.05, "pub: Nature Communications 13 (2022), s41467-022-29590-0, Table 1"},
		{34, "spurious-free range", db(budget.SpuriousFree(budget.Level(15.1), budget.Level(-125.1))), 93.47, 0.2, "pub: same table prints 93.6"},
		{35, "compression range", db(budget.CompressionRange(budget.Level(4.1), -3.6, budget.Level(-125.1))), 125.6, 0.01, "pub: same table"},
		{36, "intercept of two stages", budget.Intercept(budget.Level(-5), 30, budget.Level(15)).Float(), -15.41, 0.02, "calc: usual formula, from memory"},
		{37, "modulation index of 0 dBm", budget.ModulationIndex(budget.Level(0), 15), 0.4216, 0.001, "calc: peak current over bias above threshold"},
	}
}

// slope is the loss of RF gain per optical decibel.
func slope(over budget.DB, from, to budget.DB) budget.DB { return (from - to) / over }

// fitted is manual A fitted over all its points.
var fitted = budget.Curve{A: 134.13, B: 50.76, C: 40.69}

func front(gain budget.DB) budget.Front {
	return budget.Front{Gain: gain, NoiseFigure: 1.5, AntennaK: 130}
}

func serviceChecks() []check {
	lost := func(f budget.Front, loss budget.DB) float64 { return db(f.Lost(fitted.Factor(loss))) }
	noise := fittedNoise()
	fails := func(gain, least budget.DB) float64 {
		return budget.Service{Front: front(gain), Carrier: budget.FromDBW(-155), CN0Min: least}.Fails(noise).Middle
	}
	cn0 := func(dbw float64, nf budget.DB) float64 {
		return db(budget.CarrierToNoise(budget.FromDBW(dbw), budget.Front{NoiseFigure: nf, AntennaK: 130}.Kelvin()))
	}
	one, err := budget.NewLinkNoise([]budget.NoisePoint{{Loss: 3, NoiseFigure: 30}})
	if err != nil {
		panic(err)
	}
	bounds := budget.Service{Front: front(40)}.CN0Lost(one, 8, 3)
	const formula = "calc: C/N0 over a cascade, noise of manual A"
	return []check{
		{31, "C/N0, -155 dBW, 130 K, NF 3.14", cn0(-155, 3.14), 47.19, 0.02, "pub formula: a GNSS receiver hardware manual, 2.4.2"},
		{32, "C/N0, -158.5 dBW, 130 K, NF 1.5", cn0(-158.5, 1.5), 46.13, 0.02, "calc: same formula; level of IS-GPS-200F 3.3.1.6"},
		{38, "C/N0 lost, gain 30, 10 dB", lost(front(30), 10), 8.11, 0.03, formula},
		{39, "C/N0 lost, gain 40, 5 dB", lost(front(40), 5), 0.34, 0.02, formula},
		{40, "fails at, gain 30, C/N0 40", fails(30, 40), 10.94, 0.03, formula},
		{41, "fails at, gain 40, C/N0 35", fails(40, 35), 18.83, 0.03, formula},
		{42, "C/N0 lost, antenna of 290 K", lost(budget.Front{Gain: 30, NoiseFigure: 1.5, AntennaK: 290}, 10), 6.37, 0.03, formula},
		{43, "one noise figure: least", bounds.Low, 0, 0.03, "calc: laser noise rules"},
		{43, "one noise figure: shot", bounds.Middle, 0.88, 0.03, "calc: shot noise rules"},
		{43, "one noise figure: most", bounds.High, 2.87, 0.03, "calc: thermal noise rules"},
		{44, "free space, 20 180 km, L1", db(budget.FreeSpace(budget.GPSL1, 20_180)), 182.49, 0.02, "calc: ITU-R P.525 with the exact constant"},
		{45, "free space, 25 150 km", db(budget.FreeSpace(budget.GPSL1, 25_150)), 184.41, 0.02, "pub: 184.4, university GNSS link note (CBNU)"},
		{46, "free space, 4 m, 1618 MHz", db(budget.Isolation(1618, 4)), 48.67, 0.02, "calc: ITU-R P.525 with the exact constant"},
		{46, "isolation of two antennas at -5 dBi", db(budget.Isolation(1618, 4, -5, -5)), 58.7, 0.05, "calc: less both gains"},
		{47, "-140 dBm at 30 m: EIRP", budget.Radiated(budget.Level(-140), budget.GPSL1, 30).Float(), -74.06, 0.05, "calc: NTIA Manual 8.3.28"},
		{48, "coax 400, 1500 MHz, 100 ft", db(budget.Coaxes()[2].Loss(1500, 30.48)), 5.126, 0.005, "pub coefficients: makers' sheet in a public radio-physics code base"},
		{49, "coax 240, L1, 30 m", db(budget.Coaxes()[1].Loss(budget.GPSL1, 30)), 9.97, 0.02, "calc: same coefficients"},
		{50, "ripple at a margin of 15 dB", db(budget.LoopRipple(15)), 3.12, 0.01, "calc: one echo"},
		{50, "ripple at a margin of 10 dB", db(budget.LoopRipple(10)), 5.69, 0.01, "calc: one echo"},
		{51, "k·316 K in dBW/Hz", budget.ThermalDensity(316).Float() - 30, -203.60, 0.01, "pub: -203.6, university GNSS link note (CBNU)"},
		{67, "GLONASS K -7", channel(-7), 1598.0625, 0, "pub: GLONASS ICD"},
		{67, "GLONASS K +6", channel(6), 1605.375, 0, "pub: GLONASS ICD"},
		{68, "sky lag of ten days in s", budget.SkyLag(10).Seconds(), 861_540, 0, "calc: 246 s less than a day, Agnew and Larson 2007"},
		{70, "10 W EIRP at 1 m in W/m²", budget.PowerDensity(budget.Level(40), 1), 0.796, 0.001, "calc: EIRP/(4·π·d²)"},
		{71, "public exposure at 1450 MHz in mW/cm²", exposure(1450), 0.967, 0.001, "pub rule: FCC (reprint)"},
	}
}

func fittedNoise() budget.LinkNoise {
	at := func(loss budget.DB) budget.NoisePoint {
		return budget.NoisePoint{Loss: loss, NoiseFigure: fitted.NoiseFigure(loss)}
	}
	n, err := budget.NewLinkNoise([]budget.NoisePoint{at(0), at(8), at(17)})
	if err != nil {
		panic(err)
	}
	return n
}

func channel(k int) float64 {
	f, ok := budget.GLONASSL1(k)
	if !ok {
		return math.NaN()
	}
	return f
}

func exposure(megahertz float64) float64 {
	limit, ok := budget.PublicExposure(megahertz)
	if !ok {
		return math.NaN()
	}
	return limit
}

func laserChecks(t *testing.T) []check {
	days, _ := budget.UntilLimit(24.6, 28.8, 0.6/180)
	char := func(k float64) float64 {
		return budget.Laser{RefC: 20, Threshold: 1, ThresholdCharK: k, Slope: 1, SlopeCharK: 1e9}.ThresholdAt(80)
	}
	const an2030 = "pub: AN-2030 (2002)"
	module := func(q collector.Quantity, at int, word uint16) float64 { return moduleWord(t, q, false, at, word) }
	return []check{
		{52, "threshold 60 K up, T_char 55", char(55), 2.977, 0.005, "calc; Senior, Optical Fiber Communications (from memory): 2.98"},
		{53, "threshold 60 K up, T_char 170", char(170), 1.423, 0.005, "calc; Senior (from memory): 1.42"},
		{54, "bias at 45 °C", laser41.Bias(3, 45), 27.74, 0.02, "calc: I_th(T) + P/eta(T)"},
		{54, "bias at 70 °C", laser41.Bias(3, 70), 35.72, 0.02, "calc: I_th(T) + P/eta(T)"},
		{54, "bias at -40 °C", laser41.Bias(3, -40), 13.5, 0.05, "calc: I_th(T) + P/eta(T)"},
		{55, "ageing index of 34.0 mA at 45 °C in %", 100 * laser41.AgeingIndex(34, 3, 45), 22.6, 0.1, "calc: measured over modelled bias"},
		{56, "acceleration 25 to 45 °C, 0.40 eV", budget.Acceleration(0.40, 25, 45), 2.661, 0.005, "calc: Arrhenius; 0.40 eV of GR-468 (from memory)"},
		{57, "slope times 0.9", db(budget.SlopeChange(0.9)), -0.915, 0.005, "calc: RF follows the slope squared"},
		{57, "threshold times 1.5 at equal slope and power", db(budget.RINChange(27, 12, 23, 8)), 5.3, 0.05, "calc: Keiser, Analog Links (from memory)"},
		{58, "24.0 to 24.6 mA in 180 d, limit 28.8", days, 1260, 1, "calc: straight line"},
		{59, "temperature E700", module(collector.Temperature, 96, 0xE700), -25, 1e-3, an2030},
		{59, "temperature FFFF", module(collector.Temperature, 96, 0xFFFF), -0.0039, 1e-3, an2030},
		{59, "temperature 8001", module(collector.Temperature, 96, 0x8001), -127.996, 1e-3, an2030},
		{60, "supply 8120", module(collector.SupplyVoltage, 98, 0x8120), 3.3056, 1e-4, "calc: SFF-8472 Table 3.15"},
		{60, "bias 3A98", module(collector.LaserBias, 100, 0x3A98), 30, 1e-4, "calc: SFF-8472 Table 3.15"},
		{61, "power 1388", module(collector.OpticalReceivePower, 104, 0x1388), -3.010, 0.001, "calc: SFF-8472 Table 3.15"},
		{61, "power 0001", module(collector.OpticalReceivePower, 104, 0x0001), -40, 0.001, "pub: lower end of the range, SFF-8472"},
		{61, "power FFFF", module(collector.OpticalTransmitPower, 102, 0xFFFF), 8.165, 0.001, "pub: upper end of the range, SFF-8472"},
		{62, "receive power, external calibration", moduleWord(t, collector.OpticalReceivePower, true, 104, 2000), -9.946, 0.001, "calc: AN-2030 p. 20, R1 0.5, R0 12.5"},
		{64, "step of 0.1 µW at -30 dBm", db(budget.PowerStep(budget.Level(-30), 1e-4)), 0.41, 0.01, "calc: SFF-8472 step"},
		{64, "step of 0.1 µW at -20 dBm", db(budget.PowerStep(budget.Level(-20), 1e-4)), 0.043, 0.001, "calc: SFF-8472 step"},
	}
}

// moduleWord has the equipment model decode one word of a module's page; with
// external, by R1 = 0.5 and R0 = 12.5.
func moduleWord(t *testing.T, q collector.Quantity, external bool, at int, word uint16) float64 {
	t.Helper()
	calibration := "internal"
	octets := make([]byte, 128)
	if external {
		calibration = "external"
		binary.BigEndian.PutUint32(octets[68:], math.Float32bits(0.5))
		binary.BigEndian.PutUint32(octets[72:], math.Float32bits(12.5))
	}
	binary.BigEndian.PutUint16(octets[at:], word)
	m, err := model.Parse("module.yaml", fmt.Appendf(nil, "model: module\nroles: [indoor]\nsupplies: 1\npoints: [{quantity: %s, object: 1.3.6.1.4.1.32473.1.0, encoding: sff8472, calibration: %s}]\n", q, calibration))
	require.NoError(t, err)
	d := m.Points[0].Decode([]model.Value{{Kind: model.Bytes, Bytes: octets}}, 0)
	if d.Quality == collector.OutOfRange { // decoded, then refused: its note says what it is
		var v float64
		_, err := fmt.Sscanf(d.Note, "%f is outside", &v)
		require.NoError(t, err)
		return v
	}
	require.Equal(t, collector.Good, d.Quality, d.Note)
	return d.Value
}
