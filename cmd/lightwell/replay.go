package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"lightwell/alarms/rules"
	"lightwell/cmd/exit"
	"lightwell/cmd/lightwell/config"
	"lightwell/cmd/lightwell/daemon"
	"lightwell/cmd/lightwell/replay"
	"lightwell/collector"
	"lightwell/collector/inventory"
	"lightwell/collector/model"
)

type replayCmd struct {
	outputFlag
	sampleFlags
	Files         []string      `arg:"" optional:"" name:"file" help:"Readings as CSV, plain, gzip or zstd; - is standard input."`
	Fleet         []string      `help:"Fleet file. Without one each unit stands alone, and no limits of a model are judged." placeholder:"FILE"`
	Models        string        `help:"Folder of models that the fleet file names beside the built-in ones." placeholder:"DIR"`
	BaselinePolls int           `default:"100" help:"How many of a unit's first good polls its baseline is taken from; 0 with no --baseline-time: no baselines."`
	BaselineTime  time.Duration `help:"Take at least this time of readings for it, such as 336h." placeholder:"DURATION"`
	DayZero       string        `default:"2025-01-01" help:"Date of day 0 in files by days." placeholder:"DATE"`
	Tick          time.Duration `help:"Judge all sites this often between polls too, such as 1m; slower." placeholder:"DURATION"`
}

// Help is printed by replay --help.
func (replayCmd) Help() string {
	return `Runs rules and engine over recorded readings, without a daemon or a network, and prints the alarms and events that would have come. Change a limit in a model, or a severity or planned work in the fleet file, and see what it would have done to last year.

Each unit's baseline comes from its first readings and is in force from the beginning. Files begin with a line that names their columns:

  time,unit,point,value,quality   one reading a line; quality may be left out. A time is 2026-01-31T12:00:00Z or seconds since 1970. A value is a number in the point's own unit or the name of a state. A quality is good, unavailable, broken or out_of_range; no_answer, refused and malformed stand for a poll that failed, without point and value.
  series,day,rx_cdb,temp_ddegc    one day of a unit a line: receive power in 0.01 dBm and temperature in 0.1 °C, evenly spread over the day, with spaces between; x where it did not answer.

With --sample the slow faults of a whole folder of points are looked for instead: drift, steps, bursts and forecasts go to the file of --detections; --labels scores them against the truth and prints the table.

Examples: lightwell replay --fleet fleet.yaml readings-2025.csv.gz
          lightwell replay --sample points --detections found.csv --labels points/labels.csv`
}

// Run replays and prints.
func (c replayCmd) Run(s *streams) error {
	if c.Sample != "" || c.Detections != "" || c.Labels != "" {
		return c.sample(s)
	}
	if len(c.Files) == 0 {
		return exit.Usage(errors.New("name a file of readings, or a folder with --sample"))
	}
	origin, err := time.Parse(time.DateOnly, c.DayZero)
	if err != nil || c.Tick < 0 || c.BaselineTime < 0 || c.BaselinePolls < 0 {
		return exit.Usage(errors.New("--day-zero must be a date such as 2025-01-31, and no number or duration below zero"))
	}
	fleet, err := c.fleet()
	if err != nil {
		return err
	}
	var rec replay.Recording
	for _, name := range c.Files {
		if err := addFile(&rec, name, origin); err != nil {
			return err
		}
	}
	began := time.Now()
	result, err := replay.Run(s.ctx, replay.Config{
		Fleet: fleet, Rules: rules.All(), BaselinePolls: c.BaselinePolls, BaselineTime: c.BaselineTime, Tick: c.Tick,
	}, &rec)
	if errors.Is(err, context.Canceled) {
		return errInterrupted
	}
	if err != nil {
		return err
	}
	if c.Output == "json" {
		return writeJSON(s.out, result)
	}
	if err := result.WriteText(s.out); err != nil {
		return err
	}
	fmt.Fprintf(s.errOut, "replayed in %s\n", time.Since(began).Round(time.Millisecond))
	return nil
}

// fleet reads the fleet files; nil without any.
func (c replayCmd) fleet() (*collector.Fleet, error) {
	if len(c.Fleet) == 0 {
		return nil, nil
	}
	models, err := model.Builtin()
	if err == nil && c.Models != "" {
		err = models.AddFolder(c.Models)
	}
	if err != nil {
		return nil, err
	}
	return inventory.Load(c.Fleet, inventory.Options{Models: models, DefaultPoll: config.DefaultPoll, MinPoll: config.DefaultMinPoll, AlarmTypes: daemon.TypeNames()})
}

func addFile(rec *replay.Recording, name string, origin time.Time) error {
	var in io.ReadCloser = os.Stdin
	if name != "-" {
		f, err := os.Open(name)
		if err != nil {
			return exit.Usage(err)
		}
		in = f
	}
	defer in.Close()
	return rec.Add(name, in, origin)
}
