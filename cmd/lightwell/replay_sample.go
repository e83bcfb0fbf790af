package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"time"

	"lightwell/cmd/exit"
	"lightwell/cmd/lightwell/replay/sample"
)

// sampleFlags are those of replay that look for slow faults in a folder.
type sampleFlags struct {
	Sample     string `help:"Folder with readings.csv.gz and service.csv: look for drift, steps and bursts in its points." placeholder:"DIR"`
	Detections string `help:"Where to write what was found in the folder; without --sample, what to score." placeholder:"FILE"`
	Labels     string `help:"The truth about the points: score the detections and print the table." placeholder:"FILE"`
}

// sample detects, scores, or both.
func (c replayCmd) sample(s *streams) error {
	if len(c.Files) > 0 || len(c.Fleet) > 0 {
		return exit.Usage(errors.New("--sample takes no fleet and no other files"))
	}
	if c.Detections == "" || c.Sample == "" && c.Labels == "" {
		return exit.Usage(errors.New("give --detections FILE with --sample DIR, --labels FILE, or both"))
	}
	if c.Sample != "" {
		if err := c.detect(s); err != nil {
			return err
		}
	}
	if c.Labels == "" {
		return nil
	}
	return c.score(s)
}

func (c replayCmd) detect(s *streams) error {
	began := time.Now()
	sum, err := sample.Run(s.ctx, c.Sample)
	switch {
	case errors.Is(err, context.Canceled):
		return errInterrupted
	case errors.Is(err, fs.ErrNotExist):
		return exit.Usage(err)
	case err != nil:
		return err
	}
	out, err := os.Create(c.Detections)
	if err != nil {
		return exit.Usage(err)
	}
	if err := errors.Join(sample.WriteCSV(out, sum.Detections), out.Close()); err != nil {
		return err
	}
	fmt.Fprintf(s.errOut, "%d points, %d days, %d readings in %s; %d detections; mirror alarms per 100 point-years %.2f; thresholds at the end times %.2f (drift), %.2f (step)\n",
		sum.Series, sum.Days, sum.Readings, time.Since(began).Round(time.Millisecond), len(sum.Detections), sum.FalseAlarms, sum.DriftScale, sum.StepScale)
	return nil
}

func (c replayCmd) score(s *streams) error {
	labels, err := os.Open(c.Labels)
	if err != nil {
		return exit.Usage(err)
	}
	defer labels.Close()
	found, err := os.Open(c.Detections)
	if err != nil {
		return exit.Usage(err)
	}
	defer found.Close()
	truth, err := sample.ReadLabels(c.Labels, labels)
	if err != nil {
		return err
	}
	detections, err := sample.ReadDetections(c.Detections, found)
	if err != nil {
		return err
	}
	score, err := sample.Judge(truth, detections)
	if err != nil {
		return err
	}
	return score.WriteText(s.out)
}
