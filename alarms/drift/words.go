package drift

import (
	"fmt"
	"math"
)

// units in which people think of time left, with the least number of each that
// is still told in it.
var units = []struct {
	name string
	days float64
	from float64
}{
	{"year", 365.25, 2},
	{"month", monthDays, 2},
	{"week", 7, 3},
	{"day", 1, 1},
}

// String tells the interval in round words: "between 2 and 11 months", "more
// than 3 years".
func (f Forecast) String() string {
	low, high := f.Lower.Hours()/24, f.Upper.Hours()/24
	if f.Open {
		high = farDays
	}
	if high < 1 {
		return "within a day"
	}
	unit := units[len(units)-1]
	for _, u := range units {
		if low/u.days >= u.from || (u.name == "month" && low >= 14 && high/u.days >= 3) {
			unit = u
			break
		}
	}
	n, m := max(0, math.Floor(low/unit.days)), math.Ceil(high/unit.days)
	switch {
	case f.Open && n < 1:
		return "open: days or many years"
	case f.Open:
		return "more than " + plural(n, unit.name)
	case n < 1:
		return "within " + plural(m, unit.name)
	}
	return fmt.Sprintf("between %.0f and %s", n, plural(m, unit.name))
}

func plural(n float64, unit string) string {
	if n == 1 {
		return "1 " + unit
	}
	return fmt.Sprintf("%.0f %ss", n, unit)
}
