package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"sync"
	"time"

	"golang.org/x/sync/errgroup"

	"lightwell/cmd/exit"
	"lightwell/cmd/lightwell/config"
	"lightwell/cmd/lightwell/daemon"
	"lightwell/cmd/lightwell/demo"
)

type demoCmd struct {
	For    time.Duration `help:"End by itself after this time." placeholder:"DURATION"`
	Speed  float64       `default:"60" help:"How many times faster than ours the plant's time runs."`
	Seed   uint64        `default:"1" help:"Which plant: the same seed is the same plant."`
	Past   time.Duration `default:"2400h" help:"How long before the demonstration its fleet was commissioned; 0: as it begins." placeholder:"DURATION"`
	Listen string        `default:"${listen}" help:"Where page, API and metrics are." placeholder:"HOST:PORT"`
	Data   string        `help:"Keep data in this folder; without it they are gone at the end." placeholder:"DIR"`
}

// Help is printed by demo --help.
func (demoCmd) Help() string {
	return `Runs the daemon against a simulated plant that answers SNMP on loopback, with nothing to configure. Its fleet was commissioned three months ago, and since then a joint and a laser have begun to fail slowly. Its story takes three minutes: a supply is lost behind its twin, a connector steps, a cable is cut, a unit falls silent, and each is repaired. At --speed 60 a second is a minute of the plant.

Example: lightwell demo --for 5m`
}

// Run plays until it is told to stop.
func (c demoCmd) Run(s *streams) (err error) {
	if c.Speed <= 0 || c.For < 0 || c.Past < 0 || c.Past > longestPast {
		return exit.Usage(errors.New("--speed must be above zero, --for not below it, and --past between 0 and 26280h"))
	}
	out := &lines{out: s.out, started: time.Now()}
	log := newLogger(s.errOut, "warn")
	show, err := demo.New(demo.Config{Seed: c.Seed, Speed: c.Speed, Log: log, Print: out.print})
	if err != nil {
		return err
	}
	cfg := config.Default()
	cfg.Listen, cfg.Data = c.Listen, c.Data
	show.Configure(&cfg)
	if cfg.Data == "" {
		if cfg.Data, err = os.MkdirTemp("", "lightwell-demo-"); err != nil {
			return errors.Join(err, show.Close())
		}
		defer func() { err = errors.Join(err, os.RemoveAll(cfg.Data)) }()
	}
	d, err := daemon.New(daemon.Options{Config: cfg, Files: show.Files(), Version: resolveVersion(), Log: log})
	if err != nil {
		return exit.Hinted(errors.Join(err, show.Close()), "--listen 127.0.0.1:0 takes any free port")
	}
	out.announce(show.Files(), d.URL(), c.Speed)
	if err := show.Remember(s.ctx, demo.Memory{Book: d.Book(), Trends: d.Trends(), History: d.History()}, c.Past); err != nil {
		d.Close()
		return errors.Join(err, show.Close())
	}
	return c.play(s.ctx, show, d, out)
}

// longestPast is three years, made up in a minute.
const longestPast = 26280 * time.Hour

func (c demoCmd) play(ctx context.Context, show *demo.Demo, d *daemon.Daemon, out *lines) error {
	if c.For > 0 {
		var cancel context.CancelFunc
		ctx, cancel = context.WithTimeout(ctx, c.For)
		defer cancel()
	}
	group, ctx := errgroup.WithContext(ctx)
	group.Go(func() error { return show.Run(ctx) })
	group.Go(func() error { return d.Run(ctx) })
	group.Go(func() error { return show.Commission(ctx, d.Book()) })
	err := group.Wait()
	out.print("demo", "stopped")
	return err
}

// lines prints one line per event, with the time since the start.
type lines struct {
	mu      sync.Mutex
	out     io.Writer
	started time.Time
}

func (l *lines) print(source, text string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	at := time.Since(l.started)
	fmt.Fprintf(l.out, "%02d:%02d  %-8s %s\n", int(at.Minutes()), int(at.Seconds())%60, source, text)
}

func (l *lines) announce(files daemon.Files, url string, speed float64) {
	f := files.Fleet
	fmt.Fprintf(l.out, "A simulated plant: %d links, %d units, %d sites; a second is %s of the plant.\n", len(f.Links), len(f.Units), len(f.Sites), time.Duration(speed*float64(time.Second)))
	fmt.Fprintf(l.out, "page     %s/\nmetrics  %s/metrics\nAPI      %s/api/openapi.json\nStop with Ctrl-C.\n\n", url, url, url)
}
