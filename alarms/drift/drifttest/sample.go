package drifttest

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"strconv"
)

// A Sample writes points as a folder that lightwell replay --sample reads:
// readings.csv, service.csv and the truth, labels.csv.
type Sample struct {
	readings, service, labels *bufio.Writer
}

// NewSample writes the headers.
func NewSample(readings, service, labels io.Writer) *Sample {
	s := &Sample{bufio.NewWriterSize(readings, 1<<16), bufio.NewWriter(service), bufio.NewWriter(labels)}
	s.readings.WriteString("series,day,rx_cdb,temp_ddegc\n")
	s.service.WriteString("series,begin_s,finish_s\n")
	s.labels.WriteString("series,kind,start_s,end_s,rate_db_per_month,shape,magnitude_db,fail_s,days,step_s\n")
	return s
}

// Add writes a point under a name. It uses up the point.
func (s *Sample) Add(name string, p *Point) {
	polls := day / p.Period
	var rx, temp []byte
	k := 0
	for r := range p.Readings() {
		if r.Missing {
			rx = append(rx, 'x')
		} else {
			rx = strconv.AppendInt(rx, int64(math.Round(100*r.Value)), 10)
		}
		temp = strconv.AppendInt(temp, int64(math.Round(10*r.Temp)), 10)
		if k++; k%polls != 0 {
			rx, temp = append(rx, ' '), append(temp, ' ')
			continue
		}
		fmt.Fprintf(s.readings, "%s,%d,%s,%s\n", name, k/polls-1, rx, temp)
		rx, temp = rx[:0], temp[:0]
	}
	if p.Kind == Service {
		fmt.Fprintf(s.service, "%s,%d,%d\n", name, p.Start, p.End)
	}
	s.label(name, p)
}

func (s *Sample) label(name string, p *Point) {
	row := [6]string{}
	if p.Kind != Healthy {
		row[0], row[1] = strconv.FormatInt(p.Start, 10), strconv.FormatInt(p.End, 10)
		row[3] = p.Shape
	}
	if p.Kind == Drift {
		row[2], row[5] = strconv.FormatFloat(p.Rate, 'f', -1, 64), strconv.FormatFloat(p.Fail, 'f', 0, 64)
	} else if p.Kind != Healthy {
		row[4] = strconv.FormatFloat(p.Size, 'f', 4, 64)
	}
	fmt.Fprintf(s.labels, "%s,%s,%s,%s,%s,%s,%s,%s,%d,%d\n", name, p.Kind, row[0], row[1], row[2], row[3], row[4], row[5], p.Days, p.Period)
}

// Close writes what is left; it closes no file.
func (s *Sample) Close() error {
	for _, w := range []*bufio.Writer{s.readings, s.service, s.labels} {
		if err := w.Flush(); err != nil {
			return fmt.Errorf("write sample: %w", err)
		}
	}
	return nil
}
