package sample

import (
	"fmt"
	"io"
	"math"
)

// Kinds of a label that are faults.
var faultKinds = map[string]bool{kindDrift: true, kindStep: true, kindIntermittent: true}

const monthSeconds = 30.4375 * day

// A Label is the truth about one series. Times are seconds from day 0.
type Label struct {
	Series, Kind, Shape string
	Start, End, Days    float64
	Rate                float64 // dB per month at onset
	Magnitude           float64 // dB
	Fail                float64 // when 3 dB are lost
}

// loss is what a drifting point has truly lost at a time.
func (l *Label) loss(at float64) float64 {
	m := max(at-l.Start, 0) / monthSeconds
	switch l.Shape {
	case "linear":
		return l.Rate * m
	case "quadratic":
		return l.Rate * m * (1 + m/8)
	}
	return 3 * l.Rate * math.Expm1(min(m/3, 40))
}

// ReadLabels reads the truth; name stands in faults.
func ReadLabels(name string, in io.Reader) (map[string]*Label, error) {
	t, err := newTable(name, in, "series", "kind", "start_s", "end_s", "rate_db_per_month", "shape", "magnitude_db", "fail_s", "days")
	if err != nil {
		return nil, err
	}
	out := map[string]*Label{}
	for {
		more, err := t.next()
		if err != nil || !more {
			return out, err
		}
		l := &Label{
			Series: t.text("series"), Kind: t.text("kind"), Shape: t.text("shape"),
			Start: t.number("start_s", &err), End: t.number("end_s", &err), Days: t.number("days", &err),
			Rate: t.number("rate_db_per_month", &err), Magnitude: t.number("magnitude_db", &err), Fail: t.number("fail_s", &err),
		}
		if err = cmpErr(err, t.checkLabel(l, out)); err != nil {
			return nil, err
		}
		out[l.Series] = l
	}
}

func (t *table) checkLabel(l *Label, others map[string]*Label) error {
	nan := math.IsNaN
	switch {
	case l.Series == "" || others[l.Series] != nil:
		return t.fault(fmt.Sprintf("series %q has no name or a second label", clip(l.Series)), "give each series one line")
	case !(l.Days > 0):
		return t.fault("days is missing or not above 0", "say how many days the series has")
	case faultKinds[l.Kind] && nan(l.Start),
		l.Kind == kindIntermittent && nan(l.End),
		l.Kind == kindStep && nan(l.Magnitude),
		l.Kind == kindDrift && (nan(l.Rate) || nan(l.Fail)):
		return t.fault(fmt.Sprintf("the label of a %s is not complete", l.Kind), "a fault needs start_s; drift its rate and fail_s, a step its magnitude, bursts end_s")
	}
	return nil
}

// ReadDetections reads a table of detections, such as WriteCSV writes.
func ReadDetections(name string, in io.Reader) ([]Detection, error) {
	t, err := newTable(name, in, "series", "time_s", "kind")
	if err != nil {
		return nil, err
	}
	var out []Detection
	for {
		more, err := t.next()
		if err != nil || !more {
			return out, err
		}
		d := Detection{Series: t.text("series"), Kind: t.text("kind"),
			Fail: t.number("pred_fail_s", &err), Low: t.number("lo80_s", &err), High: t.number("hi80_s", &err)}
		at := t.number("time_s", &err)
		if err == nil && math.IsNaN(at) {
			err = t.fault("time_s is missing", "say when the row was raised")
		}
		if err != nil {
			return nil, err
		}
		d.Time = int64(at)
		out = append(out, d)
	}
}
