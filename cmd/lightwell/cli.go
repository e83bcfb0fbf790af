package main

import (
	"context"
	"errors"
	"io"

	"github.com/alecthomas/kong"

	"lightwell/cmd/exit"
	"lightwell/cmd/lightwell/config"
)

// cli is the command line. Each command has a Run method in a file of its
// own.
type cli struct {
	Run          runCmd          `cmd:"" help:"Run the daemon."`
	Demo         demoCmd         `cmd:"" help:"Run the daemon on a simulated plant, with nothing to configure."`
	Check        checkCmd        `cmd:"" help:"Check configuration and fleet files and tell what would be polled."`
	Read         readCmd         `cmd:"" help:"Poll one unit once and print every point."`
	Commission   commissionCmd   `cmd:"" help:"Capture, show and accept baselines."`
	Alarms       alarmsCmd       `cmd:"" help:"List alarms and act on them."`
	Brief        briefCmd        `cmd:"" help:"Print what a visit to a site needs, or the order of visits."`
	Availability availabilityCmd `cmd:"" help:"Print how the links of a site have served in a month."`
	Visit        visitCmd        `cmd:"" help:"Record visits to sites, with what every point read before and after."`
	Backup       backupCmd       `cmd:"" help:"Write state and history into an archive."`
	Restore      restoreCmd      `cmd:"" help:"Check an archive and write it into an empty folder."`
	Webhooks     webhooksCmd     `cmd:"" help:"Show what waits for the receivers of webhooks, and send it again."`
	Log          logCmd          `cmd:"" help:"Show what happened to alarms and what people did."`
	Replay       replayCmd       `cmd:"" help:"Try rules and limits on recorded readings."`
	Budget       budgetCmd       `cmd:"" help:"Work out what a link should be, before it is built."`
	Token        tokenCmd        `cmd:"" help:"Make an access token for the daemon."`
	Health       healthCmd       `cmd:"" help:"Ask a running daemon whether it is well."`
	Version      versionCmd      `cmd:"" help:"Print the version."`
}

// streams are where a command reads and writes.
type streams struct {
	ctx    context.Context
	out    io.Writer
	errOut io.Writer
}

const description = `Lightwell watches RF-over-fibre links.

  lightwell demo                         see it work, nothing to configure
  lightwell check                        is everything written right?
  lightwell read north-room              what does this unit say right now?
  lightwell run --config lightwell.yaml  the daemon`

// run parses args and runs the command they name.
func run(ctx context.Context, args []string, out, errOut io.Writer) error {
	var c cli
	var exited *int
	parser, err := kong.New(&c,
		kong.Name("lightwell"),
		kong.Description(description),
		kong.Writers(out, errOut),
		kong.Exit(func(code int) { exited = &code }),
		kong.ConfigureHelp(kong.HelpOptions{Compact: true}),
		kong.Vars{"config": "lightwell.yaml", "listen": config.DefaultListen},
	)
	if err != nil {
		return err
	}
	if len(args) == 0 {
		args = []string{"--help"}
	}
	parsed, err := parser.Parse(args)
	if exited != nil { // --help has printed what was asked for
		return nil
	}
	if err != nil {
		return exit.Hinted(exit.Usage(err), "lightwell --help lists the commands, lightwell COMMAND --help explains one")
	}
	return parsed.Run(&streams{ctx, out, errOut})
}

// configFlag is the flag of every command that reads the configuration.
type configFlag struct {
	Config string `short:"c" default:"${config}" env:"LIGHTWELL_CONFIG" help:"Configuration file." placeholder:"FILE"`
}

// outputFlag is the flag of every listing.
type outputFlag struct {
	Output string `short:"o" enum:"text,json" default:"text" help:"text or json."`
}

// errInterrupted ends a command that waits for a person.
var errInterrupted = errors.New("interrupted")
