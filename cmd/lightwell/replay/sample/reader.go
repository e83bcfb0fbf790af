package sample

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"lightwell/collector/document"
)

const (
	day     = 86400
	maxDay  = 36600   // a hundred years
	maxLine = 4 << 20 // a day of polls every second
	missing = -1 << 30
	header  = "series,day,rx_cdb,temp_ddegc"
)

// A row is one day of a point. Its slices are valid until the next one.
type row struct {
	series   string
	day      int
	rx, temp []int32 // missing: no answer
}

// at returns when the k-th reading of the row was taken.
func (r *row) at(k int) int64 { return int64(r.day)*day + int64(k)*day/int64(len(r.rx)) }

// rows reads lines one after another.
type rows struct {
	name  string
	lines *bufio.Scanner
	line  int
	row   row
	last  map[string]int // day of each series
	names map[string]string
}

// newRows begins to read; name stands in faults.
func newRows(name string, in io.Reader) (*rows, error) {
	buffered := bufio.NewReaderSize(in, 1<<16)
	var plain io.Reader = buffered
	if head, err := buffered.Peek(2); err == nil && bytes.Equal(head, []byte{0x1f, 0x8b}) { // RFC 1952
		z, err := gzip.NewReader(buffered)
		if err != nil {
			return nil, fmt.Errorf("read %s: %w", name, err)
		}
		plain = z
	}
	r := &rows{name: name, lines: bufio.NewScanner(plain), last: map[string]int{}, names: map[string]string{}}
	r.lines.Buffer(make([]byte, 1<<16), maxLine)
	if !r.scan() {
		return nil, cmpErr(r.lines.Err(), r.fault("the file is empty", "begin with the line "+header))
	}
	if got := strings.TrimSpace(r.lines.Text()); got != header {
		return nil, r.fault(fmt.Sprintf("the first line is %q", clip(got)), "begin with the line "+header)
	}
	return r, nil
}

// cmpErr returns the first error that is one.
func cmpErr(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

func (r *rows) scan() bool {
	r.line++
	return r.lines.Scan()
}

func (r *rows) fault(what, remedy string) error {
	return document.Faults{{File: r.name, Line: r.line, Column: 1, What: what, Remedy: remedy}}
}

func clip(s string) string { return s[:min(len(s), 40)] }

// next returns the next row, nil at the end.
func (r *rows) next() (*row, error) {
	if !r.scan() {
		switch err := r.lines.Err(); {
		case errors.Is(err, bufio.ErrTooLong):
			return nil, r.fault("the line is too long", fmt.Sprintf("a line holds one day, at most %d bytes", maxLine))
		case err != nil:
			return nil, r.broken(err)
		}
		return nil, nil
	}
	err := r.parse(r.lines.Bytes())
	if err != nil && !r.lines.Scan() && r.lines.Err() != nil { // half a line, because the rest cannot be read
		return nil, r.broken(r.lines.Err())
	}
	return &r.row, err
}

func (r *rows) broken(err error) error {
	return fmt.Errorf("read %s at line %d: %w", r.name, r.line, err)
}

func (r *rows) parse(line []byte) error {
	var cells [4][]byte
	rest, more := line, true
	for i := range cells {
		if !more {
			return r.fault(fmt.Sprintf("%d columns", i), "the columns are "+header)
		}
		cells[i], rest, more = bytes.Cut(rest, []byte(","))
	}
	if more {
		return r.fault("more than 4 columns", "the columns are "+header)
	}
	number, err := strconv.Atoi(string(cells[1]))
	if err != nil || number < 0 || number > maxDay {
		return r.fault(fmt.Sprintf("day %q is no number from 0 to %d", clip(string(cells[1])), maxDay), "count days from the first one, 0")
	}
	if r.row.series, err = r.series(cells[0], number); err != nil {
		return err
	}
	r.row.day = number
	if r.row.rx, err = r.numbers(r.row.rx[:0], cells[2]); err != nil {
		return err
	}
	if r.row.temp, err = r.numbers(r.row.temp[:0], bytes.TrimRight(cells[3], "\r")); err != nil {
		return err
	}
	if len(r.row.rx) != len(r.row.temp) || len(r.row.rx) > day {
		return r.fault(fmt.Sprintf("%d readings of power beside %d of temperature", len(r.row.rx), len(r.row.temp)), "give as many of each, x where the point did not answer")
	}
	return nil
}

// series checks name and order, and keeps one string of each name.
func (r *rows) series(name []byte, number int) (string, error) {
	s, known := r.names[string(name)]
	if !known {
		if s = string(name); s == "" {
			return "", r.fault("the series has no name", "name each series in the first column")
		}
		r.names[s] = s
	} else if last := r.last[s]; number <= last {
		return "", r.fault(fmt.Sprintf("day %d of series %q comes after day %d", number, clip(s), last), "give the days of a series in their order, each once")
	}
	r.last[s] = number
	return s, nil
}

// numbers reads integers with a space between.
func (r *rows) numbers(out []int32, cell []byte) ([]int32, error) {
	for more := true; more; {
		var word []byte
		if word, cell, more = bytes.Cut(cell, []byte(" ")); len(word) == 1 && word[0] == 'x' {
			out = append(out, missing)
			continue
		}
		n, ok := integer(word)
		if !ok {
			return out, r.fault(fmt.Sprintf("reading %d, %q, is no whole number", len(out)+1, clip(string(word))), "write whole steps, x where the point did not answer")
		}
		out = append(out, n)
	}
	return out, nil
}

// integer reads up to seven digits.
func integer(word []byte) (n int32, ok bool) {
	negative := len(word) > 0 && word[0] == '-'
	if negative {
		word = word[1:]
	}
	if len(word) == 0 || len(word) > 7 {
		return 0, false
	}
	for _, c := range word {
		if c < '0' || c > '9' {
			return 0, false
		}
		n = 10*n + int32(c-'0')
	}
	if negative {
		n = -n
	}
	return n, true
}
