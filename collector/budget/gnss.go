package budget

import (
	"strconv"
	"strings"
	"time"
)

// Carriers of navigation satellites in MHz. GPSL1: IS-GPS-200.
const (
	GPSL1      = 1575.42
	glonassL1  = 1602.0
	glonassGap = 0.5625
)

// GLONASSL1 returns the carrier of channel K in MHz, 1602 + 0.5625·K; ok is
// false outside -7 to +6 (GLONASS ICD).
func GLONASSL1(k int) (megahertz float64, ok bool) {
	return glonassL1 + glonassGap*float64(k), k >= -7 && k <= 6
}

// SkyRepeat is after how long the GPS satellites stand where they stood: 246 s
// less than a day (Agnew and Larson, GPS Solutions 11, 2007: 247 s on average;
// 245 to 247 s is the range in use).
const SkyRepeat = 24*time.Hour - 246*time.Second

// SkyLag returns how far back to look for the same sky n days ago. Comparing
// C/N0 of a satellite with then leaves link, receiver and weather.
func SkyLag(days int) time.Duration { return time.Duration(days) * SkyRepeat }

// A Satellite is one of a GSV sentence.
type Satellite struct {
	ID        string
	Elevation int // degrees; may be negative
	Azimuth   int // degrees
	CN0       int // dB-Hz
	Tracked   bool
}

// GSV is a sentence "satellites in view" of NMEA 0183.
type GSV struct {
	Talker     string // GP, GL, GA, GB, GN
	Number     int    // of Total sentences
	Total      int
	InView     int
	Satellites []Satellite // at most four
	Signal     string      // from NMEA 4.10 (from memory); "" before
}

// ParseGSV reads a GSV sentence. ok is false for anything that is not exactly
// one: a wrong checksum, a field that is no number, a number out of range. C/N0
// is null while a satellite is not tracked, which is not zero.
//
// C/N0 is the proof of the whole way from the sky to the room, but no early
// warning: with high gain before the laser 5 dB of light may cost 0.3 dB of it.
func ParseGSV(sentence string) (g GSV, ok bool) {
	body, sum, found := strings.Cut(strings.TrimRight(sentence, "\r\n"), "*")
	body, dollar := strings.CutPrefix(body, "$")
	want, err := strconv.ParseUint(sum, 16, 8)
	if !found || !dollar || err != nil || len(sum) != 2 || checksum(body) != byte(want) {
		return GSV{}, false
	}
	fields := strings.Split(body, ",")
	n := len(fields)
	if n < 4 || n > 4+4*4+1 || len(fields[0]) != 5 || fields[0][2:] != "GSV" {
		return GSV{}, false
	}
	g = GSV{Talker: fields[0][:2]}
	r := reader{ok: true}
	g.Total, g.Number, g.InView = r.number(fields[1], 1, 9), r.number(fields[2], 1, 9), r.number(fields[3], 0, 99)
	if n%4 == 1 {
		n--
		g.Signal = fields[n]
	}
	for i := 4; i+4 <= n; i += 4 {
		if s, there := r.satellite(fields[i : i+4]); there {
			g.Satellites = append(g.Satellites, s)
		}
	}
	if !r.ok || n%4 != 0 || g.Number > g.Total {
		return GSV{}, false
	}
	return g, true
}

// checksum is the exclusive or of the characters between $ and *.
func checksum(s string) (x byte) {
	for i := range len(s) {
		x ^= s[i]
	}
	return x
}

// reader reads numbers and remembers whether all were right.
type reader struct{ ok bool }

func (r *reader) number(s string, least, most int) int {
	v, err := strconv.Atoi(s)
	if err != nil || v < least || v > most || s[0] == '+' {
		r.ok = false
	}
	return v
}

// satellite reads four fields; there is none where all are empty.
func (r *reader) satellite(f []string) (s Satellite, there bool) {
	if strings.Join(f, "") == "" {
		return Satellite{}, false
	}
	s = Satellite{ID: f[0], Tracked: f[3] != ""}
	if s.ID == "" {
		r.ok = false
	}
	if f[1] != "" || f[2] != "" { // both empty: not known where it stands
		s.Elevation, s.Azimuth = r.number(f[1], -90, 90), r.number(f[2], 0, 360)
	}
	if s.Tracked {
		s.CN0 = r.number(f[3], 0, 99)
	}
	return s, true
}
