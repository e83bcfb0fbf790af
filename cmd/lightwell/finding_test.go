package main

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
)

func TestFindingInText(t *testing.T) {
	size := 2.04
	d := alarms.Details{
		Cautions: []string{"never look into a fibre"},
		Finding: &alarms.Finding{
			Cause: "connector-dirty", Title: "Dirty or loose connector", Wording: alarms.Likely, Place: "downlink of link a", Size: &size, Unit: "dB", Probability: 0.86,
			Evidence: []string{"RF moved twice as far"}, Disproof: "cleaning changes nothing", Actions: []string{"clean"}, Bring: []string{"scope", "cleaner"},
			Cautions: []string{"never look into a fibre", "mind the roof"},
			Others:   []alarms.Alternative{{Title: "Bend", Place: "downlink of link a", Probability: 0.1}, {Title: "Never mind", Probability: 0}},
		},
	}
	var b strings.Builder
	printFinding(&b, &d)
	require.Equal(t, `it is probably: Likely dirty or loose connector: downlink of link a, 2.0 dB. (86 %)
because: RF moved twice as far
or: Bend, downlink of link a (10 %)
disproved if: cleaning changes nothing
for this: clean
bring: scope
bring: cleaner
caution: mind the roof
`, b.String())
	b.Reset()
	printFinding(&b, &alarms.Details{})
	require.Empty(t, b.String())
}
