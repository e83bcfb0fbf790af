package replay

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"lightwell/collector"
)

// silent stands where a unit did not answer, in a file by days.
const silent = "x"

// dayPoints are the points of a file by days: column, and size of its step.
var dayPoints = []struct {
	column int
	point  collector.Point
	step   float64
}{
	{2, collector.Point{Quantity: collector.OpticalReceivePower}, 0.01},
	{3, collector.Point{Quantity: collector.Temperature}, 0.1},
}

// day takes a line of the form series,day,rx_cdb,temp_ddegc: one day of a
// unit, its readings evenly spread.
func (f *reader) day(row []string) {
	unit := f.unit(row, 0)
	day, err := strconv.Atoi(f.cell(row, 1))
	if err != nil || day < 0 || day > 36600 {
		f.fault(f.place[1], fmt.Sprintf("day %q is no number from 0", clipped(f.cell(row, 1))), "count days from the first one, 0")
		return
	}
	start := f.origin.Add(time.Duration(day) * 24 * time.Hour).UnixNano()
	polls := 1 + strings.Count(f.cell(row, dayPoints[0].column), " ")
	for _, p := range dayPoints {
		cell := f.cell(row, p.column)
		if n := 1 + strings.Count(cell, " "); n != polls {
			f.fault(f.place[p.column], fmt.Sprintf("%d readings of %s beside %d of %s", n, p.point, polls, dayPoints[0].point), "give as many of each, x where the unit did not answer")
			return
		}
		number, _ := f.point(p.point.String())
		s := sample{unit: unit}
		k := 0
		for word := range strings.SplitSeq(cell, " ") {
			s.at, s.point = start+int64(k)*int64(24*time.Hour)/int64(polls), number
			if k++; !f.dayValue(&s, word, p.point.Quantity, p.step) {
				f.fault(f.place[p.column], fmt.Sprintf("reading %d, %q, is no whole number", k, clipped(word)), "write whole steps, x where the unit did not answer")
				return
			}
			f.add(s)
		}
	}
}

func (f *reader) dayValue(s *sample, word string, q collector.Quantity, step float64) bool {
	if word == silent {
		s.point, s.value, s.quality = failedPoll, 0, collector.Good // the first of failures
		return true
	}
	steps, err := strconv.Atoi(word)
	s.value = float64(steps) * step
	s.quality = plausible(q, s.value)
	return err == nil
}
