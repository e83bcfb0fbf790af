package web

import (
	"fmt"
	"html/template"
	"math"
	"strconv"
	"strings"
	"time"

	"lightwell/alarms"
	"lightwell/alarms/web/view"
	"lightwell/collector"
)

var functions = template.FuncMap{
	"asset":   func(name string) string { return "/assets/" + name + "?v=" + fingerprints[name] },
	"utc":     func(t time.Time) string { return t.UTC().Format(utcLayout) },
	"along":   func() []view.Place { return view.Along },
	"beside":  func(p view.Place) bool { return p == view.AtSite || p == view.Daemon },
	"plural":  plural,
	"list":    func(words []string) string { return strings.Join(words, ", ") },
	"span":    span,
	"number":  number,
	"percent": func(p float64) string { return strconv.Itoa(int(math.Round(100*p))) + " %" },
	"signed":  signed,
	"reading": reading,
	"quality": quality,
	"level":   func(label string, p *view.Point) level { return level{label, p} },
	"lossy":   func(db *float64) bool { return *db >= noticeDB },
}

// utcLayout is how a time is written for all zones.
const utcLayout = "2006-01-02 15:04:05 UTC"

// noticeDB is the loss from which the page says it in words; half a decibel
// is a mated pair of connectors (TIA-568 allows 0.75 dB each).
const noticeDB = 0.5

// level is one line of the drawing of a link.
type level struct {
	Label string
	Point *view.Point
}

// Off tells whether the level is noticeably worse than at commissioning.
func (l level) Off() bool { return l.Point.Worse >= noticeDB }

func plural(n int, word string) string {
	if n == 1 {
		return "1 " + word
	}
	return strconv.Itoa(n) + " " + word + "s"
}

// number writes v with so many digits after the point and a real minus sign.
// It takes a number or a pointer to one.
func number(v any, decimals int) string {
	var x float64
	switch v := v.(type) {
	case float64:
		x = v
	case *float64:
		x = *v
	}
	text := strconv.FormatFloat(x, 'f', decimals, 64)
	if strings.Trim(text, "-0.") == "" {
		return strings.TrimPrefix(text, "-")
	}
	return strings.Replace(text, "-", "−", 1)
}

func signed(v *float64, decimals int) string {
	text := number(v, decimals)
	if *v > 0 && strings.Trim(text, "0.") != "" {
		return "+" + text
	}
	return text
}

// reading is what a point says, in words where it has no number.
func reading(p any) string {
	var v view.Point
	switch p := p.(type) {
	case view.Point:
		v = p
	case *view.Point:
		v = *p
	}
	switch {
	case !v.Current:
		return "no answer"
	case v.Value != nil && v.Point == string(collector.Uptime):
		return span(time.Duration(*v.Value) * time.Second)
	case v.Value != nil:
		return strings.TrimSpace(number(v.Value, v.Decimals) + " " + v.Symbol)
	case v.State != "":
		return v.State
	}
	return quality(v.Quality)
}

func quality(q collector.Quality) string {
	switch q {
	case collector.Unavailable:
		return "not available"
	case collector.Broken:
		return "sensor broken"
	case collector.OutOfRange:
		return "cannot be true"
	}
	return q.String()
}

// span writes a duration with its two largest units.
func span(d time.Duration) string {
	days, hours := int(d.Hours())/24, int(d.Hours())%24
	minutes, seconds := int(d.Minutes())%60, int(d.Seconds())%60
	switch {
	case d < time.Minute:
		return fmt.Sprintf("%d s", max(seconds, 0))
	case d < time.Hour:
		return fmt.Sprintf("%d min", minutes)
	case days == 0 && minutes == 0:
		return fmt.Sprintf("%d h", hours)
	case days == 0:
		return fmt.Sprintf("%d h %d min", hours, minutes)
	case hours == 0:
		return fmt.Sprintf("%d d", days)
	}
	return fmt.Sprintf("%d d %d h", days, hours)
}

// stamp is a time for the page; the zero stamp means never.
type stamp struct{ ISO, UTC, Local string }

func newStamp(t, now time.Time, zone *time.Location) stamp {
	if t.IsZero() {
		return stamp{}
	}
	layout := "2 Jan 15:04:05 MST"
	if local := t.In(zone); local.Year() != now.In(zone).Year() {
		layout = "2 Jan 2006 15:04:05 MST"
	}
	return stamp{t.UTC().Format(time.RFC3339), t.UTC().Format(utcLayout), t.In(zone).Format(layout)}
}

// wellDB is the loss at which a well of a tile is drawn empty.
const wellDB = 6

// wellPath draws the light of both directions of a link: full as at
// commissioning, lower by the decibels lost. A direction that cannot be
// compared stays empty.
func wellPath(l *view.Link) string {
	var path strings.Builder
	for i, d := range []view.Direction{l.Downlink, l.Uplink} {
		if d.ExtraLossDB == nil {
			continue
		}
		height := 14 * (1 - math.Min(math.Max(*d.ExtraLossDB/wellDB, 0), 1))
		fmt.Fprintf(&path, "M%.1f %.1fh3V15h-3z", 1.5+8*float64(i), 15-height)
	}
	return path.String()
}

// lossWords says in words what wellPath draws, where it is worth saying.
func lossWords(l *view.Link) string {
	var text string
	for i, d := range []view.Direction{l.Downlink, l.Uplink} {
		if d.ExtraLossDB != nil && *d.ExtraLossDB >= noticeDB {
			text += ", " + []string{"downlink", "uplink"}[i] + " " + number(d.ExtraLossDB, 1) + " dB lost"
		}
	}
	return text
}

// row is an alarm on a page.
type row struct {
	view.Alarm
	State          string // severity, or why it is not one at the moment
	Raised         stamp
	Age            string
	Handling       string
	MayAcknowledge bool
	Pick           bool // can be chosen
	Back           string
	Least          *view.Margin // left at a link that it hurts, where that was asked
	LeastLink      string
}

func (f *frame) row(a view.Alarm) row {
	open := a.Operator == alarms.OperatorNone || a.Operator == alarms.UnShelved || a.Operator == ""
	return row{
		Alarm: a, State: condition(&a.Alarm), Raised: f.When(a.Site, a.LastRaised), Age: age(&a.Alarm, f.Now), Handling: handling(&a.Alarm),
		MayAcknowledge: f.May("operate") && view.Speaks(&a.Alarm) && open, Back: f.back,
	}
}

func condition(a *alarms.Alarm) string {
	switch {
	case view.IsShelved(a):
		return "shelved"
	case a.Cleared:
		return "cleared"
	case a.Hold.Reason != "":
		return "held"
	}
	return a.Severity.String()
}

func age(a *alarms.Alarm, now time.Time) string {
	if a.Cleared {
		return "cleared after " + span(a.LastChanged.Sub(a.LastRaised))
	}
	return "for " + span(now.Sub(a.LastRaised))
}

// handling says what people have said about an alarm.
func handling(a *alarms.Alarm) string {
	by := ""
	for _, act := range a.Actions {
		if act.State == a.Operator {
			by = " by " + act.Operator
			break
		}
	}
	switch {
	case view.IsShelved(a):
		return "shelved" + by
	case a.Operator == alarms.OperatorAck:
		return "being handled" + by
	case a.Operator == alarms.OperatorClosed:
		return "closed" + by
	}
	return "nobody is on it"
}
