package main

import (
	"fmt"
	"io"
	"slices"

	"lightwell/alarms"
)

// printFinding tells what the diagnosis says of the cause, if anything.
// Cautions that the alarm itself gives are not said twice.
func printFinding(out io.Writer, d *alarms.Details) {
	f := d.Finding
	if f == nil {
		return
	}
	fmt.Fprintf(out, "it is probably: %s (%.0f %%)\n", f.Sentence(), 100*f.Probability)
	printList(out, "because", f.Evidence)
	for _, o := range f.Others {
		if o.Probability >= 0.02 {
			fmt.Fprintf(out, "or: %s, %s (%.0f %%)\n", o.Title, o.Place, 100*o.Probability)
		}
	}
	for _, line := range [][2]string{{"disproved if", f.Disproof}, {"decided by", f.Deciding}} {
		if line[1] != "" {
			fmt.Fprintf(out, "%s: %s\n", line[0], line[1])
		}
	}
	printList(out, "for this", f.Actions)
	printList(out, "bring", f.Bring)
	printList(out, "caution", slices.DeleteFunc(slices.Clone(f.Cautions), func(c string) bool { return slices.Contains(d.Cautions, c) }))
}
