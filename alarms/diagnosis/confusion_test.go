package diagnosis_test

import (
	"flag"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/collector/model"
)

var (
	cases   = flag.Int("cases", 156, "random faults to be found by TestConfusion; half as many sound cases are added")
	onlyRow = flag.Int("row", 0, "only this row of the table of signatures; 0: all")
	harder  = flag.Float64("harder", 1, "noise and share of missing points, as a multiple of the usual ones")
	misses  = flag.Bool("misses", false, "print each case that was not found")
)

// tally counts how trials came out.
type tally struct {
	n, first, firstTwo, place int
	alone                     int            // cases with one finding and no more
	named                     map[string]int // cause that came first
}

// ranked returns the causes in the order in which they were named: the first
// finding, and what else could explain its signs.
func ranked(found []alarms.Finding) []string {
	if len(found) == 0 {
		return nil
	}
	out := []string{found[0].Cause}
	for _, o := range found[0].Others {
		if !slices.Contains(out, o.Cause) {
			out = append(out, o.Cause)
		}
	}
	return out
}

func (c *tally) take(found []alarms.Finding, w wanted) (hit bool) {
	c.n++
	if c.named == nil {
		c.named = map[string]int{}
	}
	order := ranked(found)
	if len(order) == 0 {
		c.named["nothing"]++
		return false
	}
	c.named[order[0]]++
	if len(found) == 1 {
		c.alone++
	}
	hit = order[0] == w.cause
	if hit {
		c.first++
	}
	if slices.Contains(order[:min(2, len(order))], w.cause) {
		c.firstTwo++
	}
	if found[0].Resource == w.resource && (w.direction == "" || found[0].Direction == w.direction) {
		c.place++
	} else {
		hit = false
	}
	return hit
}

// TestConfusion plays random cases of every row on the simulated plant, with
// random size, noise and missing points. The full run, with the matrix:
//
//	go test ./alarms/diagnosis -run TestConfusion -cases 2000 -v
func TestConfusion(t *testing.T) {
	models, err := model.Builtin()
	require.NoError(t, err)
	tallies := make([]tally, len(rows))
	var all tally
	for i := range *cases {
		row := 1 + i%(len(rows)-1)
		if *onlyRow != 0 {
			row = *onlyRow
		}
		d := draw{rand.New(rand.NewPCG(uint64(i), 2026))}
		tr, w := rows[row](d)
		tr.noise, tr.missing = tr.noise**harder, tr.missing**harder
		found := tr.play(t, models)
		all.take(found, w)
		if hit := tallies[row].take(found, w); !hit && *misses {
			t.Logf("case %d: wanted %+v: %+v\n%s", i, w, tr, describe(found))
		}
	}
	quiet, sound := 0, *cases/2
	if *onlyRow != 0 {
		sound = 0
	}
	for i := range sound {
		d := draw{rand.New(rand.NewPCG(uint64(i), 2027))}
		tr := d.sound(i%2 == 0)
		if found := tr.play(t, models); len(found) == 0 {
			quiet++
		} else if *misses {
			t.Logf("sound case %d: %+v\n%s", i, tr, describe(found))
		}
	}
	t.Log(matrix(tallies, &all))
	t.Logf("cases with one finding and no other: %d of %d", all.alone, all.n)
	t.Logf("sound cases without a finding: %d of %d", quiet, sound)
	if *onlyRow != 0 {
		return
	}
	slack := 0.0
	if *cases < 1000 { // few cases scatter: three standard deviations of the share
		slack = 0.02
	}
	part := func(n, of int) float64 { return float64(n) / float64(of) }
	require.GreaterOrEqual(t, part(all.first, all.n), 0.90-slack, "right cause first")
	require.GreaterOrEqual(t, part(all.firstTwo, all.n), 0.98-slack, "right cause among the first two")
	require.GreaterOrEqual(t, part(all.place, all.n), 0.95-slack, "right place")
	require.GreaterOrEqual(t, part(quiet, sound), 0.99, "nothing found where nothing is")
}

// matrix prints what came first, row by row.
func matrix(rows []tally, all *tally) string {
	var b strings.Builder
	line := func(name string, c *tally) {
		fmt.Fprintf(&b, "%-8s %5d %5.1f%% %5.1f%% %5.1f%%  ", name, c.n, 100*float64(c.first)/float64(c.n), 100*float64(c.firstTwo)/float64(c.n), 100*float64(c.place)/float64(c.n))
		causes := make([]string, 0, len(c.named))
		for k := range c.named {
			causes = append(causes, k)
		}
		slices.SortFunc(causes, func(x, y string) int { return c.named[y] - c.named[x] })
		for _, k := range causes {
			fmt.Fprintf(&b, "%s %d  ", k, c.named[k])
		}
		b.WriteByte('\n')
	}
	b.WriteString("\nrow      cases  first   two   place  named first\n")
	for i := range rows {
		if rows[i].n > 0 {
			line(fmt.Sprintf("row %d", i), &rows[i])
		}
	}
	all.named = nil
	line("all", all)
	return b.String()
}

func describe(found []alarms.Finding) string {
	var b strings.Builder
	for i := range found {
		f := &found[i]
		fmt.Fprintf(&b, "  %s %.2f %s\n", f.Sentence(), f.Probability, strings.Join(f.Evidence, "; "))
		for _, o := range f.Others {
			fmt.Fprintf(&b, "    or %s %.2f %s\n", o.Cause, o.Probability, o.Place)
		}
	}
	return b.String()
}
