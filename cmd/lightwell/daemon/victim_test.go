package daemon_test

import (
	"context"
	"fmt"
	"hash/fnv"
	"os"
	"os/signal"
	"path/filepath"
	"strings"
	"syscall"
	"time"

	"go.uber.org/zap"
	"go.uber.org/zap/zapcore"

	"lightwell/alarms/notify"
	"lightwell/cmd/lightwell/config"
	"lightwell/cmd/lightwell/daemon"
	"lightwell/collector"
	"lightwell/collector/snmp"
)

// Environment of a victim: a daemon in a process of its own that is killed at
// random. Its files are in the folder.
const (
	victimFolder   = "LIGHTWELL_TEST_VICTIM"
	victimDSN      = "LIGHTWELL_TEST_DSN"      // empty: SQLite
	victimReceiver = "LIGHTWELL_TEST_RECEIVER" // address of the receiver of webhooks
	victimStill    = "LIGHTWELL_TEST_STILL"    // time at which the plant stands still, in RFC 3339; empty: it goes on
)

const (
	victimUnits = 600
	victimSites = 30
	// slot is how long units and mains stay as they are.
	slot = 20 * time.Second
)

// victimKey signs the webhooks of victims; it is no secret.
var victimKey = collector.NewSecret("whsec_AAECAwQFBgcICQoLDA0ODxAREhMUFRYXGBkaGxwdHh8=")

// fleetOf has units without links, spread over sites.
func fleetOf(units, sites int, poll string) string {
	var b strings.Builder
	fmt.Fprintf(&b, "poll: %q\nsites:\n", poll)
	for i := range sites {
		fmt.Fprintf(&b, "  - {id: %s, name: Site %d, time_zone: UTC}\n", siteName(i), i)
	}
	b.WriteString("units:\n")
	for i := range units {
		fmt.Fprintf(&b, "  - {id: %s, site: %s, role: indoor, model: rack-dual-supply, address: \"192.0.2.%d:%d\", credentials: v2c}\n",
			unitName(i), siteName(i%sites), 1+i%250, 10000+i/250)
	}
	return b.String()
}

func unitName(i int) string { return fmt.Sprintf("unit-%d", i) }
func siteName(i int) string { return fmt.Sprintf("site-%d", i) }

// failed tells whether something has failed at a time. It changes at random,
// for each thing at a time of its own.
func failed(thing string, at time.Time) bool {
	h := fnv.New64a()
	h.Write([]byte(thing))
	at = at.Add(time.Duration(h.Sum64() % uint64(slot)))
	fmt.Fprint(h, at.UnixNano()/int64(slot))
	return h.Sum64()%2 == 0
}

// mainsFail tells what can fail at the site of a unit: its mains, or else the
// thermometers of its units one by one.
func mainsFail(site string) bool { return strings.HasSuffix(site, "0") }

// faultsAt returns the resources that must have an alarm at a time.
func faultsAt(at time.Time) []string {
	var out []string
	for i := range victimSites {
		if site := siteName(i); mainsFail(site) && failed(site, at) {
			out = append(out, "site/"+site)
		}
	}
	for i := range victimUnits {
		if unit := unitName(i); !mainsFail(siteName(i%victimSites)) && failed(unit, at) {
			out = append(out, "unit/"+unit+"/temperature")
		}
	}
	return out
}

// blinking is a plant whose thermometers and mains come and go.
type blinking struct{ still time.Time }

// Probe implements collector.Prober.
func (p blinking) Probe(_ context.Context, u collector.Unit) ([]collector.Reading, error) {
	now := time.Now()
	at := now
	if !p.still.IsZero() {
		at = p.still
	}
	var out []collector.Reading
	for _, point := range u.Equipment.Points {
		r := collector.Reading{Unit: u.ID, Point: point, Value: steady[point.Quantity], Taken: now}
		switch {
		case point == collector.Point{Quantity: collector.SupplyState, Port: "b"} && mainsFail(u.Site) && failed(u.Site, at):
			r.Value = 1 // failed
		case point.Quantity == collector.Temperature && !mainsFail(u.Site) && failed(u.ID, at):
			r.Quality = collector.Broken
		}
		out = append(out, r)
	}
	return out, nil
}

var steady = map[collector.Quantity]float64{
	collector.OpticalReceivePower: 1.2, collector.OpticalTransmitPower: 3, collector.LaserBias: 31, collector.Temperature: 24,
	collector.RFInputLevel: -47, collector.RFOutputLevel: -30, collector.SupplyVoltage: 12, collector.Uptime: 183600, collector.SupplyState: 0,
}

// beVictim runs a daemon until it is killed, or told to stop.
func beVictim(folder string) {
	ctx, stop := signal.NotifyContext(context.Background(), syscall.SIGTERM)
	defer stop()
	if err := runVictim(ctx, folder); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

func runVictim(ctx context.Context, folder string) error {
	cfg := config.Default()
	cfg.Listen = "127.0.0.1:0"
	cfg.Data = filepath.Join(folder, "data")
	cfg.Fleet = []string{filepath.Join(folder, "fleet.yaml")}
	cfg.Postgres = collector.NewSecret(os.Getenv(victimDSN))
	cfg.Credentials = map[string]snmp.Credentials{"v2c": {Version: "2c", Community: collector.NewSecret("blinking")}}
	cfg.Commissioning = config.Commissioning{Polls: 3}
	cfg.Webhooks = []notify.Endpoint{{
		Name: "noc", URL: collector.NewSecret(os.Getenv(victimReceiver)), Secrets: []collector.Secret{victimKey}, OperatorActions: true,
	}}
	files, err := daemon.LoadFiles(cfg)
	if err != nil {
		return err
	}
	var plant blinking
	if at := os.Getenv(victimStill); at != "" {
		if plant.still, err = time.Parse(time.RFC3339Nano, at); err != nil {
			return err
		}
	}
	log := zap.New(zapcore.NewCore(zapcore.NewConsoleEncoder(zap.NewDevelopmentEncoderConfig()), zapcore.Lock(os.Stderr), zap.WarnLevel))
	d, err := daemon.New(daemon.Options{Config: cfg, Files: files, Version: "victim", Log: log, Prober: plant})
	if err != nil {
		return err
	}
	if err := os.WriteFile(filepath.Join(folder, "url.new"), []byte(d.URL()), 0o600); err != nil {
		return err
	}
	if err := os.Rename(filepath.Join(folder, "url.new"), filepath.Join(folder, "url")); err != nil {
		return err
	}
	return d.Run(ctx)
}
