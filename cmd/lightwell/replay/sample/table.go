package sample

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"lightwell/collector/document"
)

// table reads a small CSV file with a header, columns in any order.
type table struct {
	name  string
	csv   *csv.Reader
	place map[string]int
	cells []string
}

func newTable(name string, in io.Reader, columns ...string) (*table, error) {
	t := &table{name: name, csv: csv.NewReader(in), place: map[string]int{}}
	t.csv.ReuseRecord = true
	head, err := t.csv.Read()
	if errors.Is(err, io.EOF) {
		return nil, document.Faults{{File: name, What: "the file is empty", Remedy: "begin with the line " + strings.Join(columns, ",")}}
	}
	if err != nil {
		return nil, t.broken(err)
	}
	for i, c := range head {
		t.place[strings.TrimSpace(c)] = i
	}
	for _, c := range columns {
		if _, ok := t.place[c]; !ok {
			return nil, t.fault(fmt.Sprintf("column %q is missing", c), "the first line must name it")
		}
	}
	return t, nil
}

// next goes to the next line; false at the end.
func (t *table) next() (bool, error) {
	var err error
	if t.cells, err = t.csv.Read(); errors.Is(err, io.EOF) {
		return false, nil
	}
	if err != nil {
		return false, t.broken(err)
	}
	return true, nil
}

func (t *table) broken(err error) error {
	var syntax *csv.ParseError
	if errors.As(err, &syntax) {
		return document.Faults{{File: t.name, Line: syntax.Line, Column: syntax.Column, What: syntax.Err.Error(), Remedy: "every line needs the columns of the first"}}
	}
	return fmt.Errorf("read %s: %w", t.name, err)
}

func (t *table) fault(what, remedy string) error {
	line, _ := t.csv.FieldPos(0)
	return document.Faults{{File: t.name, Line: line, Column: 1, What: what, Remedy: remedy}}
}

// text returns a cell, empty when the column is not there.
func (t *table) text(column string) string {
	i, ok := t.place[column]
	if !ok {
		return ""
	}
	return strings.Clone(strings.TrimSpace(t.cells[i]))
}

// number returns a cell as a number, NaN when it is empty. It adds to err.
func (t *table) number(column string, err *error) float64 {
	word := t.text(column)
	if word == "" {
		return math.NaN()
	}
	v, bad := strconv.ParseFloat(word, 64)
	if bad != nil || math.IsNaN(v) {
		*err = cmpErr(*err, t.fault(fmt.Sprintf("%s %q is no number", column, clip(word)), "write a number, or nothing"))
	}
	return v
}

// A visit is recorded work at a point, in seconds from day 0.
type visit struct{ begin, finish int64 }

// readService reads the visits of each series, in their order.
func readService(name string, in io.Reader) (map[string][]visit, error) {
	t, err := newTable(name, in, "series", "begin_s", "finish_s")
	if err != nil {
		return nil, err
	}
	out := map[string][]visit{}
	for {
		more, err := t.next()
		if err != nil || !more {
			return out, err
		}
		series := t.text("series")
		begin, finish := t.number("begin_s", &err), t.number("finish_s", &err)
		if err != nil {
			return nil, err
		}
		v := visit{int64(begin), int64(finish)}
		before := out[series]
		if !(begin >= 0 && finish >= begin && finish < 1e11) || len(before) > 0 && v.begin < before[len(before)-1].finish {
			return nil, t.fault("the visit does not end after it begins, or begins before the one before it ends", "give visits of a series in their order, in seconds from the start")
		}
		out[series] = append(before, v)
	}
}
