package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"text/tabwriter"
	"time"

	"lightwell/cmd/lightwell/config"
	"lightwell/cmd/lightwell/daemon"
	"lightwell/collector"
	"lightwell/collector/document"
)

type checkCmd struct {
	configFlag
	outputFlag
}

// Help is printed by check --help.
func (checkCmd) Help() string {
	return `Reads the configuration, the models and the fleet files it names, and reports every fault with file, line, column and remedy. When nothing is wrong it prints what would be polled, how often, and how many requests a second that makes.

Example: lightwell check --config /etc/lightwell/lightwell.yaml`
}

// pollPlan is what would be polled.
type pollPlan struct {
	Config    string         `json:"config"`
	Sites     int            `json:"sites"`
	Cables    int            `json:"cables"`
	Units     int            `json:"units"`
	Links     int            `json:"links"`
	Webhooks  int            `json:"webhooks"`
	Tokens    int            `json:"tokens"`
	Schedules []planSchedule `json:"schedules"`
	Requests  float64        `json:"requests_per_second"`
}

type planSchedule struct {
	Poll     string  `json:"poll"`
	Period   string  `json:"period"`
	Units    int     `json:"units"`
	Points   int     `json:"points"`
	Objects  int     `json:"objects"`
	Requests float64 `json:"requests_per_second"`
}

// Run checks and prints.
func (c checkCmd) Run(s *streams) error {
	cfg, files, err := loadAll(c.Config)
	if err != nil {
		return err
	}
	p := newPlan(cfg, files, time.Now())
	if c.Output == "json" {
		return writeJSON(s.out, p)
	}
	return p.print(s.out)
}

// loadAll reads everything that a configuration names and reports the faults
// of all files together.
func loadAll(path string) (config.Config, daemon.Files, error) {
	cfg, err := config.Load(path, os.Getenv)
	var faults document.Faults
	if err != nil && !errors.As(err, &faults) {
		return cfg, daemon.Files{}, err
	}
	files, err := daemon.LoadFiles(cfg)
	var more document.Faults
	if err != nil && !errors.As(err, &more) {
		return cfg, files, errors.Join(faults.Err(), err)
	}
	return cfg, files, append(faults, more...).Err()
}

func newPlan(cfg config.Config, files daemon.Files, now time.Time) pollPlan {
	f := files.Fleet
	p := pollPlan{Config: cfg.File, Sites: len(f.Sites), Cables: len(f.Cables), Units: len(f.Units), Links: len(f.Links), Webhooks: len(cfg.Webhooks), Tokens: len(cfg.Tokens)}
	rows := map[string]*planSchedule{}
	for _, u := range f.Units {
		site, _ := f.Site(u.Site)
		schedule, err := collector.ParseSchedule(u.Poll, site.Location)
		if err != nil {
			continue // LoadFiles has refused such a fleet
		}
		period := schedule.Period(now)
		row := rows[u.Poll]
		if row == nil {
			row = &planSchedule{Poll: u.Poll, Period: period.String()}
			rows[u.Poll] = row
		}
		objects := 0
		if m, ok := files.Models.Model(u.Equipment.Model); ok {
			for _, point := range m.Points {
				objects += len(point.Objects())
			}
		}
		requests := (objects + cfg.SNMP.MaxObjects - 1) / cfg.SNMP.MaxObjects
		row.Units++
		row.Points += len(u.Equipment.Points)
		row.Objects += objects
		row.Requests += float64(requests) / period.Seconds()
	}
	for _, row := range rows {
		p.Schedules = append(p.Schedules, *row)
		p.Requests += row.Requests
	}
	slices.SortFunc(p.Schedules, func(a, b planSchedule) int { return b.Units - a.Units })
	return p
}

func (p pollPlan) print(out io.Writer) error {
	fmt.Fprintf(out, "%s: nothing is wrong\n", p.Config)
	fmt.Fprintf(out, "%d sites, %d cables, %d units, %d links, %d webhooks, %d tokens\n\n", p.Sites, p.Cables, p.Units, p.Links, p.Webhooks, p.Tokens)
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(w, "poll\tperiod\tunits\tpoints\tobjects\trequests/s\t")
	for _, r := range p.Schedules {
		fmt.Fprintf(w, "%s\t%s\t%d\t%d\t%d\t%.2f\t\n", r.Poll, r.Period, r.Units, r.Points, r.Objects, r.Requests)
	}
	fmt.Fprintf(w, "together\t\t%d\t\t\t%.2f\t\n", p.Units, p.Requests)
	return w.Flush()
}

func writeJSON(out io.Writer, v any) error {
	enc := json.NewEncoder(out)
	enc.SetIndent("", "  ")
	return enc.Encode(v)
}
