package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"lightwell/alarms/chart"
	"lightwell/cmd/exit"
	"lightwell/cmd/lightwell/config"
	"lightwell/cmd/lightwell/daemon"
	"lightwell/collector"
	"lightwell/collector/budget"
	"lightwell/collector/document"
	"lightwell/collector/inventory"
	"lightwell/collector/model"
	"lightwell/collector/plan"
)

type budgetCmd struct {
	outputFlag
	Link   string   `arg:"" optional:"" help:"Link of the fleet file; all of them when left out."`
	Fleet  []string `short:"f" help:"Fleet file. Without one the flags below describe a fibre." placeholder:"FILE"`
	Models string   `help:"Folder of models beside the built-in ones." placeholder:"DIR"`
	Plot   string   `help:"Draw C/N0 against optical loss of the link's downlink into this file, .svg or .png." placeholder:"FILE"`

	Transmitter string `group:"A fibre without a fleet file:" help:"Model of the unit that transmits." placeholder:"MODEL"`
	Receiver    string `group:"A fibre without a fleet file:" help:"Model of the unit that receives." placeholder:"MODEL"`

	LengthM      *float64 `group:"A fibre without a fleet file:" help:"Length in metres." placeholder:"M"`
	Connectors   *float64 `group:"A fibre without a fleet file:" help:"Mated connector pairs on the way, those of the units not counted." placeholder:"N"`
	Splices      *float64 `group:"A fibre without a fleet file:" help:"Splices on the way." placeholder:"N"`
	WavelengthNM *float64 `name:"wavelength-nm" group:"A fibre without a fleet file:" help:"Wavelength, 1310 unless given." placeholder:"NM"`
	Ways         *float64 `group:"A fibre without a fleet file:" help:"Ways of a splitter or combiner, 1 unless given." placeholder:"N"`

	TransmitPowerDBm   *float64 `name:"transmit-power-dbm" group:"A fibre without a fleet file:" help:"Nominal transmit power." placeholder:"DBM"`
	ReceivePowerMinDBm *float64 `name:"receive-power-min-dbm" group:"A fibre without a fleet file:" help:"Least light that the receiver needs." placeholder:"DBM"`
	ReceivePowerMaxDBm *float64 `name:"receive-power-max-dbm" group:"A fibre without a fleet file:" help:"Most light that it bears." placeholder:"DBM"`
	GainDB             *float64 `name:"gain-db" group:"A fibre without a fleet file:" help:"RF gain at no optical loss." placeholder:"DB"`
	AGCReserveDB       *float64 `name:"agc-reserve-db" group:"A fibre without a fleet file:" help:"RF gain that gain control holds in reserve." placeholder:"DB"`
	Noise              []string `group:"A fibre without a fleet file:" help:"Noise figure at an optical loss: one, or three and more." placeholder:"LOSS:NF"`

	GainBeforeLaserDB        *float64 `name:"gain-before-laser-db" group:"A fibre without a fleet file:" help:"From antenna to laser." placeholder:"DB"`
	NoiseFigureBeforeLaserDB *float64 `name:"noise-figure-before-laser-db" group:"A fibre without a fleet file:" help:"From antenna to laser." placeholder:"DB"`
	AntennaNoiseK            *float64 `name:"antenna-noise-k" group:"A fibre without a fleet file:" help:"Noise temperature of the antenna, 130 unless given." placeholder:"K"`
	CarrierDBW               *float64 `name:"carrier-dbw" group:"A fibre without a fleet file:" help:"Received carrier." placeholder:"DBW"`
	CN0MinDBHz               *float64 `name:"cn0-min-dbhz" group:"A fibre without a fleet file:" help:"Lowest C/N0 that the service works with." placeholder:"DBHZ"`
}

// Help is printed by budget --help.
func (budgetCmd) Help() string {
	return `Works out what a link should be before anything is installed: optical loss with its spread, light at the receiver, RF gain, noise figure, C/N0 now and against optical loss, and how many optical decibels are left until the service fails. What is not given stays unknown and is left out.

The loss is typical: mean, mean + 3 standard deviations, and every part at its limit. With one noise figure the results are bounds, with three the curve.

Example: lightwell budget nq --fleet fleet.yaml --plot nq.svg
         lightwell budget --transmitter outdoor-std --receiver rack-dual-supply --length-m 500 --connectors 4
         lightwell budget --length-m 500 --connectors 4 --splices 2 --transmit-power-dbm 1 --noise 0:23.6,8:33.3,17:50.2 \
           --gain-before-laser-db 30 --noise-figure-before-laser-db 1.5 --carrier-dbw=-155 --cn0-min-dbhz 37`
}

// Run works out and prints.
func (c budgetCmd) Run(s *streams) error {
	kind := strings.ToLower(filepath.Ext(c.Plot))
	if c.Plot != "" && kind != ".svg" && kind != ".png" {
		return exit.Usage(fmt.Errorf("--plot %q: the name must end in .svg or .png", c.Plot))
	}
	directions, err := c.directions()
	if err != nil {
		return err
	}
	var sheets []plan.Sheet
	for _, d := range directions {
		sheets = append(sheets, d.Sheet(d.link))
	}
	if c.Plot != "" {
		if err := plotTo(c.Plot, kind, directions, sheets); err != nil {
			return err
		}
	}
	switch {
	case c.Output == "json":
		return writeJSON(s.out, sheets)
	case len(sheets) > 2:
		return printBudgets(s.out, sheets)
	}
	for _, sheet := range sheets {
		if err := printBudget(s.out, sheet); err != nil {
			return err
		}
	}
	return nil
}

// planned is a direction of a link that has a name, or of none.
type planned struct {
	plan.Direction
	link string
}

func (c budgetCmd) directions() ([]planned, error) {
	given := c.given()
	switch {
	case len(c.Fleet) > 0 && len(given) > 0:
		return nil, exit.Usage(fmt.Errorf("%s: the fleet file says that; give either --fleet or the flags of a fibre", strings.Join(given, ", ")))
	case len(c.Fleet) == 0 && c.Link != "":
		return nil, exit.Usage(fmt.Errorf("link %q: name the fleet file that has it with --fleet", c.Link))
	case len(c.Fleet) == 0:
		d, err := c.fibre()
		if err != nil {
			return nil, exit.Usage(err)
		}
		return []planned{{Direction: d}}, nil
	}
	models, err := c.models()
	if err != nil {
		return nil, err
	}
	fleet, err := inventory.Load(c.Fleet, inventory.Options{Models: models, DefaultPoll: config.DefaultPoll, MinPoll: config.DefaultMinPoll, AlarmTypes: daemon.TypeNames()})
	if err != nil {
		return nil, err
	}
	return c.links(fleet)
}

func (c budgetCmd) links(fleet *collector.Fleet) ([]planned, error) {
	links := fleet.Links
	if c.Link != "" {
		l, ok := fleet.Link(c.Link)
		if !ok {
			var ids []string
			for _, l := range fleet.Links {
				ids = append(ids, l.ID)
			}
			return nil, exit.Usage(fmt.Errorf("there is no link %q; %s", c.Link, document.Nearest(c.Link, ids)))
		}
		links = []collector.Link{l}
	}
	if c.Plot != "" && len(links) != 1 {
		return nil, exit.Usage(errors.New("--plot draws one link: name it"))
	}
	var out []planned
	for _, l := range links {
		for _, d := range plan.Of(fleet, l).Directions {
			out = append(out, planned{d, l.ID})
		}
	}
	return out, nil
}

func (c budgetCmd) models() (*model.Set, error) {
	models, err := model.Builtin()
	if err == nil && c.Models != "" {
		err = models.AddFolder(c.Models)
	}
	return models, err
}

// plotTo draws the first direction.
func plotTo(path, kind string, directions []planned, sheets []plan.Sheet) error {
	if !directions[0].Radio() {
		return exit.Usage(errors.New("--plot: C/N0 is not known; it needs the noise of the transmitter's model (or --noise) and the rf block of the link (or the flags for what stands before the laser)"))
	}
	curve := budgetCurve(&directions[0], sheets[0])
	data := chart.SVG(curve, chart.Page)
	if kind == ".png" {
		var err error
		if data, err = chart.PNG(curve, chart.Page, 150); err != nil {
			return err
		}
	}
	return os.WriteFile(path, data, 0o644)
}

// budgetCurve is C/N0 against optical loss, from none to a little beyond the
// end of the service.
func budgetCurve(d *planned, sheet plan.Sheet) *chart.Curve {
	title := sheet.Direction
	if d.link != "" {
		title = "link " + d.link + ", " + title
	}
	k := &chart.Curve{Title: title + ": C/N0 against optical loss", X: "optical loss, dB", Y: "C/N0, dB-Hz"}
	last := sheet.Against[len(sheet.Against)-1].LossDB
	line := chart.Line{Name: "C/N0"}
	const step = 0.25
	for loss := 0.0; loss <= last; loss += step {
		r := d.Service.CN0(d.Noise, budget.DB(loss))
		line.Places = append(line.Places, chart.Place{X: loss, Y: r.Middle})
		if !d.Noise.NoiseFigure(budget.DB(last)).Exact() {
			k.Low, k.High = append(k.Low, chart.Place{X: loss, Y: r.Low}), append(k.High, chart.Place{X: loss, Y: r.High})
		}
	}
	k.Lines = []chart.Line{line}
	k.Levels = []chart.Level{{Name: "least for the service", Value: float64(d.Service.CN0Min)}}
	k.Uprights = []chart.Upright{{X: float64(d.Mean()), Name: fmt.Sprintf("planned %.1f dB", float64(d.Mean()))}}
	if f := sheet.Failure; f != nil && f.Loss.Low >= 0 && f.Loss.Low <= last {
		name := fmt.Sprintf("fails at %.1f dB: %s", f.Loss.Low, f.By)
		if f.Loss.High == nil || *f.Loss.High != f.Loss.Low {
			name = fmt.Sprintf("may fail from %.1f dB: %s", f.Loss.Low, f.By)
		}
		k.Uprights = append(k.Uprights, chart.Upright{X: f.Loss.Low, Name: name, Limit: true})
	}
	return k
}

// noise reads LOSS:NF.
func (c budgetCmd) noise() ([]collector.NoisePoint, error) {
	var out []collector.NoisePoint
	var points []budget.NoisePoint
	for _, s := range c.Noise {
		loss, nf, found := strings.Cut(s, ":")
		x, err := strconv.ParseFloat(loss, 64)
		y, err2 := strconv.ParseFloat(nf, 64)
		if !found || err != nil || err2 != nil || !(x >= 0 && x <= 40) || !(y >= 0 && y <= 100) {
			return nil, fmt.Errorf("--noise %q: write optical loss and noise figure in dB, like 8:33.3", s)
		}
		out = append(out, collector.NoisePoint{LossDB: x, NoiseFigureDB: y})
		points = append(points, budget.NoisePoint{Loss: budget.DB(x), NoiseFigure: budget.DB(y)})
	}
	if len(points) == 0 {
		return nil, nil
	}
	if _, err := budget.NewLinkNoise(points); err != nil {
		return nil, fmt.Errorf("--noise: %w; or just one", err)
	}
	return out, nil
}
