package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/netip"
	"os"
	"time"

	"github.com/alecthomas/kong"
	"go.uber.org/zap"
	"golang.org/x/sync/errgroup"

	"lightwell/cmd/exit"
	"lightwell/collector/plant"
	"lightwell/collector/plant/agent"
)

// cli is the command line.
type cli struct {
	Config        string         `short:"c" placeholder:"FILE" help:"Configuration of the daemon: its credentials are accepted, and its fleet and models simulated unless named here."`
	Fleet         []string       `short:"f" placeholder:"FILE" help:"Fleet file; may be given several times."`
	Models        string         `placeholder:"DIR" help:"Folder of your own models."`
	Scenario      string         `placeholder:"FILE" help:"Faults to play, with their times."`
	Seed          uint64         `default:"1" help:"The same seed gives the same plant."`
	Speed         float64        `default:"1" help:"Plant seconds per second."`
	Listen        netip.AddrPort `default:"127.0.0.1:16100" placeholder:"ADDR:PORT" help:"Address of the first unit; each further unit has the next port. Port 0: any free port. Default ${default}."`
	OwnAddresses  bool           `help:"Each further unit has the next address instead, and the same port."`
	CommunityFile string         `placeholder:"FILE" help:"File with one more community to accept. Also: environment variable PLANTSIM_COMMUNITY."`
	WriteFleet    string         `placeholder:"PATH" help:"Write the fleet file anew with the addresses of the simulated units. With several fleet files: a folder for them."`
	For           time.Duration  `placeholder:"DURATION" help:"Stop after this time, such as 10m."`
}

const description = `Simulates the units of a fleet: they answer SNMP on this machine, and read only.

  plantsim --fleet fleet.yaml                       version 2c, community public
  plantsim --config lightwell.yaml                  the credentials that the daemon uses
  plantsim -f fleet.yaml --write-fleet sim.yaml     a fleet file that leads to the simulated units
  plantsim -f fleet.yaml --scenario cut.yaml --speed 60

Stop it with Ctrl-C.`

// parse fills c from args; it returns false when only help was wanted.
func (c *cli) parse(args []string, out, errOut io.Writer) (bool, error) {
	exited := false
	parser, err := kong.New(c, kong.Name("plantsim"), kong.Description(description), kong.Writers(out, errOut),
		kong.Exit(func(int) { exited = true }))
	if err != nil {
		return false, fmt.Errorf("command line: %w", err)
	}
	_, err = parser.Parse(args)
	switch {
	case exited:
		return false, nil
	case err != nil:
		return false, exit.Usage(err)
	case len(c.Fleet) == 0 && c.Config == "":
		return false, exit.Usage(errors.New("nothing to simulate: name a fleet file with --fleet, or the daemon's configuration with --config"))
	case !(c.Speed > 0 && c.Speed <= maxSpeed):
		return false, exit.Usage(fmt.Errorf("--speed %g is not above 0 and up to %d", c.Speed, maxSpeed))
	case c.For < 0:
		return false, exit.Usage(fmt.Errorf("--for %s is negative", c.For))
	}
	return true, nil
}

// maxSpeed: a day in a second, so that a trial of years ends the same hour.
const maxSpeed = 86400

func run(ctx context.Context, args []string, out, errOut io.Writer) error {
	var c cli
	if wanted, err := c.parse(args, out, errOut); !wanted {
		return err
	}
	sim, err := c.build()
	if err != nil {
		return err
	}
	agents, err := agent.New(sim.config, zap.NewNop())
	if err != nil {
		return err
	}
	defer agents.Close()
	if c.WriteFleet != "" {
		if err := writeFleet(c.WriteFleet, sim.files, agents.Addr); err != nil {
			return err
		}
	}
	sim.print(out, agents)
	return sim.play(ctx, c.For, out, agents)
}

// play answers requests and tells of events until ctx ends or d is over.
func (s *simulation) play(ctx context.Context, d time.Duration, out io.Writer, agents *agent.Agents) error {
	started := time.Now()
	if d > 0 {
		var stop context.CancelFunc
		ctx, stop = context.WithTimeout(ctx, d)
		defer stop()
	}
	group, ctx := errgroup.WithContext(ctx)
	group.Go(func() error { return agents.Run(ctx) })
	group.Go(func() error {
		return s.plant.Run(ctx, s.scenario, func(e plant.Event) { fmt.Fprintln(out, eventLine(s.plant.Start(), e)) })
	})
	err := group.Wait()
	fmt.Fprintf(out, "stopped after %s, %d requests answered\n", time.Since(started).Round(time.Millisecond), agents.Answered())
	return err
}

func eventLine(start time.Time, e plant.Event) string {
	what := "begins"
	if e.Over {
		what = "ends"
	}
	line := fmt.Sprintf("%s  +%s  %s %s at %s", start.Add(e.At).UTC().Format(time.RFC3339), e.At, e.Kind, what, e.On)
	if e.Text != "" {
		line += ": " + e.Text
	}
	return line
}

func readFile(path string) ([]byte, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, exit.Usage(err)
	}
	return data, nil
}
