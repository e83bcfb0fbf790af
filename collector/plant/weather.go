package plant

import (
	"math"
	"time"
)

// climate is the weather of a site. It is temperate and calm on purpose, so
// that weather alone does not look like a fault: a roof unit's case moves by
// some 8 K between a clear noon and the night. Rougher days are faults
// of the kinds temperature-swing and warm-up.
type climate struct {
	key   uint64
	zone  *time.Location
	meanC float64 // of the year
}

// Amplitudes of a climate, in kelvins.
const (
	seasonK = 5.0
	dailyK  = 2.5
	frontK  = 1.5
	sunK    = 4.0 // on a roof unit's case
	roomC   = 22.0
	roomK   = 0.7
)

func newClimate(key uint64, zone *time.Location) climate {
	if zone == nil {
		zone = time.UTC
	}
	return climate{key, zone, 12 + 4*uniform(mix(key))}
}

// hour returns the local time of day in hours.
func (c climate) hour(t time.Time) float64 {
	_, offset := t.In(c.zone).Zone()
	day := (t.UnixNano() + int64(offset)*1e9) % int64(24*time.Hour)
	return float64(day) / float64(time.Hour)
}

// daily returns the course of a day from -1 to 1, warmest at three o'clock.
func (c climate) daily(t time.Time) float64 { return math.Cos(2 * math.Pi * (c.hour(t) - 15) / 24) }

// air returns the temperature outside, in degrees Celsius.
func (c climate) air(t time.Time) float64 {
	const year = 365.2425 * 86400
	season := -math.Cos(2 * math.Pi * (float64(t.Unix())/year - 20/365.25)) // coldest on 20 January
	return c.meanC + seasonK*season + dailyK*c.daily(t) + frontK*smooth(c.key, t, 48*time.Hour)
}

// sun returns by how much the sun heats a case on the roof, in kelvins.
func (c climate) sun(t time.Time) float64 {
	height := math.Cos(2 * math.Pi * (c.hour(t) - 12.5) / 24)
	clear := 0.5 + 0.5*smooth(mix(c.key), t, 6*time.Hour)
	return sunK * max(0, height) * clear
}

// room returns the temperature inside, in degrees Celsius.
func (c climate) room(t time.Time) float64 { return roomC + roomK*c.daily(t) }
