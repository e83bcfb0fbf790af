package drift

import "math"

// The ladder grades how far a mirror has come: rung r stands for scores from
// rungBase*rungStep^(r-1). A Group counts excursions by their highest rung.
const (
	rungs    = 32
	rungBase = 0.4
	rungStep = 1.07
)

var rungHeights = func() (h [rungs + 1]float32) {
	for r := range h {
		h[r] = float32(rungBase * math.Pow(rungStep, float64(r-1)))
	}
	return h
}()

// ascent is what a mirror climbed at once: from rung, not counted, to rung.
type ascent struct{ from, to uint8 }

// rung returns the highest rung of a score, beyond the ladder too.
func rung(score float32) uint8 {
	if score < rungBase {
		return 0
	}
	return uint8(min(1+math.Log(float64(score/rungBase))/math.Log(rungStep), math.MaxUint8/2))
}

// climb returns the highest rung of the excursion and what was climbed to it.
// A score below the first rung ends the excursion.
func climb(peak uint8, score float32) (uint8, ascent) {
	if score < rungBase {
		return 0, ascent{}
	}
	r := peak
	for int(r) < rungs && score >= rungHeights[r+1] {
		r++
	}
	return r, ascent{peak, r}
}
