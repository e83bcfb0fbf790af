package budget_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/collector/budget"
)

// Sentences: the first published, the second a classic example from memory.
const (
	published = "$GPGSV,4,1,13,02,02,213,,03,-3,000,,11,00,121,,14,13,172,05*67"
	classic   = "$GPGSV,2,1,08,01,40,083,46,02,17,308,41,12,07,344,39,14,22,228,45*75"
)

func TestParseGSV(t *testing.T) {
	g, ok := budget.ParseGSV(classic + "\r\n")
	require.True(t, ok)
	require.Equal(t, budget.GSV{Talker: "GP", Number: 1, Total: 2, InView: 8, Satellites: []budget.Satellite{
		{"01", 40, 83, 46, true}, {"02", 17, 308, 41, true}, {"12", 7, 344, 39, true}, {"14", 22, 228, 45, true},
	}}, g)
	g, ok = budget.ParseGSV(published)
	require.True(t, ok)
	require.Equal(t, budget.Satellite{ID: "03", Elevation: -3}, g.Satellites[1], "null C/N0 is not 0")
	require.Equal(t, 13, g.InView)
}

// summed puts the right checksum behind a sentence.
func summed(body string) string {
	const hex = "0123456789ABCDEF"
	var x byte
	for i := range len(body) {
		x ^= body[i]
	}
	return "$" + body + "*" + hex[x>>4:x>>4+1] + hex[x&15:x&15+1]
}

func TestGSVIsStrict(t *testing.T) {
	for _, body := range []string{
		"GPGSV,1,1,00", "GPGSV,1,1,01,05,10,200,33", "GLGSV,1,1,01,65,,,33", "GAGSV,1,1,01,05,10,200,33,7", "GBGSV,1,1,01,,,,",
	} {
		_, ok := budget.ParseGSV(summed(body))
		require.True(t, ok, body)
	}
	for _, body := range []string{
		"", "GPGSV", "GPGGA,1,1,00", "GPGSV,1,2,00", "GPGSV,1,1,100", "GPGSV,1,1,-1", "GPGSV,1,1,01,05,91,200,33", "GPGSV,1,1,01,05,10,361,33",
		"GPGSV,1,1,01,05,10,200,100", "GPGSV,1,1,01,05,10,200", "GPGSV,1,1,01,,10,200,33", "GPGSV,1,1,01,05,x,200,33", "GPGSV,1,1,+1", "GPGSV,1,1,01,05,10,,33",
		"GPGSV,1,1,01,1,1,1,1,2,2,2,2,3,3,3,3,4,4,4,4,5,5,5,5",
	} {
		_, ok := budget.ParseGSV(summed(body))
		require.False(t, ok, body)
	}
	for _, sentence := range []string{published[1:], published[:len(published)-1], published + "0", "*", "$*00"} {
		_, ok := budget.ParseGSV(sentence)
		require.False(t, ok, sentence)
	}
}

func FuzzParseGSV(f *testing.F) {
	for _, s := range []string{published, classic, summed("GAGSV,1,1,01,05,10,200,33,7"), "$GPGSV,,,*00", ""} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		g, ok := budget.ParseGSV(s)
		if !ok {
			require.Empty(t, g)
			return
		}
		require.LessOrEqual(t, len(g.Satellites), 4)
		for _, v := range g.Satellites {
			require.True(t, v.CN0 >= 0 && v.CN0 <= 99 && (v.Tracked || v.CN0 == 0))
		}
	})
}
