package replay

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"lightwell/collector"
	"lightwell/collector/document"
)

// layouts are the two forms of a file, by the columns of its first line.
var layouts = []struct {
	columns  []string
	optional int // how many of the last columns may be left out
	row      func(*reader, []string)
}{
	{[]string{"time", "unit", "point", "value", "quality"}, 1, (*reader).reading},
	{[]string{"series", "day", "rx_cdb", "temp_ddegc"}, 0, (*reader).day},
}

// maxFaults is how many faults of one file are told.
const maxFaults = 20

// reader adds one file to a recording.
type reader struct {
	*Recording
	name   string
	csv    *csv.Reader
	origin time.Time
	place  []int // of each column of the layout in a line; -1: left out
	faults document.Faults
	// The same words come again and again.
	pointOf map[string]int16
	unitOf  map[string]int32
}

// Add reads a file; name stands in its faults, origin is day 0 of a file by
// days. An error of content is document.Faults, and what the file held until
// then stays in the recording.
func (r *Recording) Add(name string, in io.Reader, origin time.Time) error {
	plain, done, err := decompressed(in)
	if err != nil {
		return fmt.Errorf("read %s: %w", name, err)
	}
	defer done()
	r.ordered = false
	f := &reader{Recording: r, name: name, origin: origin, csv: csv.NewReader(plain), pointOf: map[string]int16{}, unitOf: map[string]int32{}}
	f.csv.ReuseRecord, f.csv.TrimLeadingSpace, f.csv.Comment = true, true, '#'
	if err := f.read(); err != nil {
		return fmt.Errorf("read %s: %w", name, err)
	}
	return f.faults.Err()
}

func (f *reader) read() error {
	row, err := f.csv.Read()
	if errors.Is(err, io.EOF) {
		f.whole("the file is empty", "give readings with the header time,unit,point,value")
		return nil
	}
	var take func(*reader, []string)
	if err == nil {
		take = f.header(row)
	}
	for err == nil && len(f.faults) < maxFaults {
		if row, err = f.csv.Read(); err == nil {
			take(f, row)
		}
	}
	var syntax *csv.ParseError
	switch {
	case errors.As(err, &syntax):
		f.faults = append(f.faults, document.Fault{File: f.name, Line: syntax.Line, Column: syntax.Column, What: syntax.Err.Error(), Remedy: "every line needs the columns of the first"})
		return nil
	case err == nil || errors.Is(err, io.EOF):
		return nil
	}
	return err
}

// header finds the layout of the file and the places of its columns.
func (f *reader) header(row []string) func(*reader, []string) {
	row[0] = strings.TrimPrefix(row[0], "\ufeff")
	for _, l := range layouts {
		if !slices.Contains(row, l.columns[0]) {
			continue
		}
		for i, c := range row {
			if !slices.Contains(l.columns, c) || slices.Index(row, c) != i {
				f.fault(i, fmt.Sprintf("column %q is unknown or there twice", c), "use each of: "+strings.Join(l.columns, ", "))
			}
		}
		for i, c := range l.columns {
			at := slices.Index(row, c)
			if f.place = append(f.place, at); at < 0 && i < len(l.columns)-l.optional {
				f.fault(0, fmt.Sprintf("column %q is missing", c), "the columns are: "+strings.Join(l.columns, ", "))
			}
		}
		if len(f.faults) > 0 {
			return skip
		}
		return l.row
	}
	f.fault(0, "the first line names no known columns", "begin with the line "+strings.Join(layouts[0].columns, ",")+" or "+strings.Join(layouts[1].columns, ","))
	return skip
}

func skip(*reader, []string) {}

func (f *reader) whole(what, remedy string) {
	f.faults = append(f.faults, document.Fault{File: f.name, What: what, Remedy: remedy})
}

// fault blames a field of the line read last.
func (f *reader) fault(field int, what, remedy string) {
	line, column := f.csv.FieldPos(field)
	f.faults = append(f.faults, document.Fault{File: f.name, Line: line, Column: column, What: what, Remedy: remedy})
}

// cell returns a column of the layout; "" for one that was left out.
func (f *reader) cell(row []string, column int) string {
	if at := f.place[column]; at >= 0 {
		return row[at]
	}
	return ""
}

// reading takes a line of the form time,unit,point,value,quality.
func (f *reader) reading(row []string) {
	s := sample{unit: f.unit(row, 1)}
	var ok bool
	if s.at, ok = parseTime(f.cell(row, 0)); !ok {
		f.fault(f.place[0], fmt.Sprintf("time %q cannot be read", clipped(f.cell(row, 0))), "write it as 2026-01-31T12:00:00Z, or as seconds since 1970")
		return
	}
	quality := f.cell(row, 4)
	for i, failure := range failures {
		if quality == failure.word {
			s.point, s.value = failedPoll, float64(i)
			f.add(s)
			return
		}
	}
	point := f.cell(row, 2)
	if s.point, ok = f.point(point); !ok {
		f.fault(f.place[2], fmt.Sprintf("point %q has no known quantity", clipped(point)), nearestQuantity(point))
		return
	}
	if quality != "" && s.quality.UnmarshalText([]byte(quality)) != nil {
		f.fault(f.place[4], fmt.Sprintf("unknown quality %q", clipped(quality)), "use good, unavailable, broken or out_of_range, or for a failed poll no_answer, refused or malformed")
		return
	}
	if s.quality == collector.Good {
		q := f.points.all[s.point].Quantity
		if s.value, s.quality, ok = parseValue(q, f.cell(row, 3)); !ok {
			f.fault(f.place[3], fmt.Sprintf("value %q is not one of %s", clipped(f.cell(row, 3)), q), "write a number or the name of a state, or give a quality")
			return
		}
	}
	f.add(s)
}

func (f *reader) add(s sample) {
	if s.unit >= 0 {
		f.samples = append(f.samples, s)
	}
}

// unit returns the number of a unit, or -1 after a fault.
func (f *reader) unit(row []string, column int) int32 {
	id := f.cell(row, column)
	if n, ok := f.unitOf[id]; ok {
		return n
	}
	if !unitForm.MatchString(id) {
		f.fault(f.place[column], fmt.Sprintf("unit %q is no id", clipped(id)), "use up to 64 of a-z, 0-9, dot, dash and underscore")
		return -1
	}
	id = strings.Clone(id)
	n := int32(f.units.number(id))
	f.unitOf[id] = n
	return n
}

// unitForm is the form of ids in a fleet file.
var unitForm = regexp.MustCompile(`^[a-z0-9][a-z0-9_.-]{0,63}$`)

func (f *reader) point(word string) (int16, bool) {
	if n, ok := f.pointOf[word]; ok {
		return n, true
	}
	p, err := collector.ParsePoint(strings.Clone(word))
	if err != nil || len(f.points.all) >= math.MaxInt16 || p.Port != "" && !unitForm.MatchString(p.Port) {
		return 0, false
	}
	n := int16(f.points.number(p))
	f.pointOf[p.String()] = n
	return n, true
}

func nearestQuantity(word string) string {
	var known []string
	for _, info := range collector.Quantities() {
		known = append(known, string(info.Quantity))
	}
	q, _, _ := strings.Cut(word, "/")
	return document.Nearest(q, known)
}

// parseTime reads RFC 3339 or seconds since 1970, of the years 1970 to 2261.
func parseTime(text string) (int64, bool) {
	t, err := time.Parse(time.RFC3339, text)
	if err == nil {
		return t.UnixNano(), t.Year() >= 1970 && t.Year() < 2262
	}
	seconds, err := strconv.ParseFloat(text, 64)
	if err != nil || !(seconds >= 0 && seconds < 9.2e9) {
		return 0, false
	}
	whole, fraction := math.Modf(seconds)
	return int64(whole)*1e9 + int64(math.Round(fraction*1e6))*1e3, true
}

// parseValue reads a number or a state. What a unit cannot have measured is a
// reading all the same: it is out of range.
func parseValue(q collector.Quantity, text string) (float64, collector.Quality, bool) {
	value, err := strconv.ParseFloat(text, 64)
	if err != nil {
		value, ok := q.StateValue(text)
		return value, collector.Good, ok
	}
	return value, plausible(q, value), true
}

func plausible(q collector.Quantity, value float64) collector.Quality {
	info, _ := q.Info()
	if !(value >= info.Min && value <= info.Max) || info.States != nil && q.StateName(value) == "" {
		return collector.OutOfRange
	}
	return collector.Good
}

// clipped returns the beginning of a word that a message quotes.
func clipped(word string) string {
	if len(word) > 40 {
		return strings.ToValidUTF8(word[:40], "") + "…"
	}
	return word
}
