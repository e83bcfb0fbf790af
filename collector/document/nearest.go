package document

import (
	"fmt"
	"slices"
	"strings"
)

// maxListed is how many words a remedy lists.
const maxListed = 20

// Nearest returns a remedy for word, which is none of known: the nearest of
// them when one is near, else the list of all when it is short.
func Nearest(word string, known []string) string {
	best, distance := "", 1+max(1, len(word)/3)
	for _, k := range known {
		if len(word) >= 3 && strings.HasPrefix(k, word) && distance > 1 {
			best, distance = k, 1 // cut short
			continue
		}
		if max(len(k)-len(word), len(word)-len(k)) >= distance {
			continue
		}
		if d := editDistance(strings.ToLower(word), strings.ToLower(k)); d < distance {
			best, distance = k, d
		}
	}
	switch {
	case best != "":
		return fmt.Sprintf("did you mean %q?", best)
	case len(known) == 0:
		return "remove it"
	case len(known) > maxListed:
		return fmt.Sprintf("use one of the %d that exist", len(known))
	}
	sorted := slices.Clone(known)
	slices.Sort(sorted)
	return "use one of: " + strings.Join(sorted, ", ")
}

// editDistance counts insertions, deletions, replacements and exchanges of
// neighbours (optimal string alignment) that turn a into b.
func editDistance(a, b string) int {
	if len(a) > 64 || len(b) > 64 {
		return 64
	}
	var before, last, row [65]int
	for j := range len(b) + 1 {
		last[j] = j
	}
	for i := 1; i <= len(a); i++ {
		row[0] = i
		for j := 1; j <= len(b); j++ {
			cost := 1
			if a[i-1] == b[j-1] {
				cost = 0
			}
			row[j] = min(last[j]+1, row[j-1]+1, last[j-1]+cost)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				row[j] = min(row[j], before[j-2]+1)
			}
		}
		before, last = last, row
	}
	return last[len(b)]
}
