package budget

import "math"

// lambert is 10·log10(e): decibels of an attenuation of one neper in power.
const lambert = 10 * math.Log10E

// GlassFace returns what one open face between glass of index n and air
// loses in transmission, and its return loss (Fresnel, normal incidence).
func GlassFace(n float64) (loss, returnLoss DB) {
	r := math.Pow((n-1)/(n+1), 2)
	return -Decibels(1 - r), -Decibels(r)
}

// A Mode is the light of a single-mode fibre at one wavelength, both in
// micrometres, taken as Gaussian.
type Mode struct {
	FieldDiameter float64 // 9.2 at 1310 nm and 10.4 at 1550 nm (ITU-T G.652, nominal and typical)
	Wavelength    float64
}

// OffsetLoss returns the loss of a joint whose cores are offset sideways by so
// many micrometres: 4.343·(d/w)² dB, w half the mode field diameter (Marcuse
// 1977, from memory).
func (m Mode) OffsetLoss(offset float64) DB {
	x := offset / (m.FieldDiameter / 2)
	return DB(lambert * x * x)
}

// TiltLoss returns the loss of a joint whose axes stand at an angle, in
// degrees: 4.343·(π·n·w·θ/λ)² dB (Marcuse 1977, from memory). n is the index
// of what lies between the faces: that of the glass where they touch, 1 where
// there is air.
func (m Mode) TiltLoss(degrees, n float64) DB {
	x := math.Pi * n * m.FieldDiameter / 2 * degrees * math.Pi / 180 / m.Wavelength
	return DB(lambert * x * x)
}

// GapLoss returns the loss of the way across an air gap, in micrometres,
// without its two faces: equal Gaussian modes a distance z apart couple with
// 1/(1 + (z/(2·z_R))²), z_R = π·w²/λ (Marcuse 1977, from memory).
func (m Mode) GapLoss(gap float64) DB {
	w := m.FieldDiameter / 2
	z := gap * m.Wavelength / (2 * math.Pi * w * w)
	return Decibels(1 + z*z)
}

// BeamTurn returns by how many degrees the light leaves the face of a fibre
// bent when the face is polished at an angle: asin(n·sin θ) − θ (Snell).
func BeamTurn(degrees, n float64) float64 {
	r := degrees * math.Pi / 180
	return (math.Asin(n*math.Sin(r)) - r) * 180 / math.Pi
}

// PolishMismatch returns the loss of a flat plug in an angled adaptor or the
// other way round: the beam of an 8° face is bent by BeamTurn, crosses an air
// gap sideways, and passes two open faces. A step of 3 to 10 dB right after
// somebody has touched the patch has this cause (common practice).
func (m Mode) PolishMismatch(gap, n float64) DB {
	turn := BeamTurn(8, n)
	face, _ := GlassFace(n)
	return m.TiltLoss(turn, 1) + m.OffsetLoss(gap*math.Tan(turn*math.Pi/180)) + m.GapLoss(gap) + 2*face
}

// bendDoublingNM is how much longer the light must be for a bend to lose
// twice as much: the limits of a G.657.A1 fibre (ITU-T G.657) for one turn of
// 10 mm are 0.75 dB at 1550 nm and 1.5 dB at 1625 nm.
const bendDoublingNM = 75

// BendLoss returns what a bend loses at a wavelength when it loses at1310 at
// 1310 nm. A bend tells itself from a joint by this growth.
func BendLoss(at1310 DB, wavelengthNM float64) DB {
	return at1310 * DB(math.Exp2((wavelengthNM-1310)/bendDoublingNM))
}

// A Flaw is what makes a fibre lose light, as two wavelengths tell.
type Flaw string

// Flaws.
const (
	Bend    Flaw = "bend"    // clearly worse at the longer wavelength: a bend or a squeeze
	Joint   Flaw = "joint"   // somewhat worse at the shorter: cores that do not meet
	Neutral Flaw = "neutral" // equal: dirt, a break, an absorber
)

// BendExcess is by how much a bend loses more at the longer wavelength: the
// usual setting of an optical reflectometer (from the manual of one).
const BendExcess = DB(0.5)

// jointExcess is the least by which an offset joint of half a decibel or more
// loses more at 1310 nm: its ratio is 1.28 (Marcuse 1977, from memory).
const jointExcess = DB(0.1)

// TellFlaw says what losses at 1310 and at 1550 nm together mean. A link of
// one wavelength cannot tell; who stands at it with a meter for both can.
func TellFlaw(at1310, at1550 DB) Flaw {
	switch d := at1550 - at1310; {
	case d > BendExcess:
		return Bend
	case d < -jointExcess:
		return Joint
	}
	return Neutral
}

// SplitLoss returns what an even splitter of n ways loses on each way.
func SplitLoss(n int) DB { return Decibels(float64(max(n, 1))) }
