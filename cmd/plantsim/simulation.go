package main

import (
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"slices"
	"strings"
	"text/tabwriter"

	"lightwell/cmd/exit"
	"lightwell/cmd/lightwell/config"
	"lightwell/collector"
	"lightwell/collector/inventory"
	"lightwell/collector/model"
	"lightwell/collector/plant"
	"lightwell/collector/plant/agent"
	"lightwell/collector/snmp"
)

// A simulation is a plant and who may ask it.
type simulation struct {
	files    []string // fleet files
	fleet    *collector.Fleet
	plant    *plant.Plant
	scenario plant.Scenario
	config   agent.Config
	seed     uint64
	speed    float64
}

// build reads every file that the command line names.
func (c *cli) build() (*simulation, error) {
	s := &simulation{files: c.Fleet, seed: c.Seed, speed: c.Speed, config: agent.Config{Listen: c.Listen, OwnAddresses: c.OwnAddresses}}
	folder := c.Models
	if c.Config != "" {
		cfg, err := config.Load(c.Config, os.Getenv)
		if err != nil {
			return nil, err
		}
		if len(s.files) == 0 {
			s.files = cfg.Fleet
		}
		if folder == "" {
			folder = cfg.Models
		}
		s.accept(cfg.Credentials)
	}
	if err := c.communities(s); err != nil {
		return nil, err
	}
	if err := s.load(folder); err != nil {
		return nil, err
	}
	if c.Scenario == "" {
		return s, nil
	}
	data, err := readFile(c.Scenario)
	if err != nil {
		return nil, err
	}
	if s.scenario, err = s.plant.ParseScenario(c.Scenario, data); err != nil {
		return nil, err
	}
	s.plant.Play(s.scenario)
	return s, nil
}

// load makes the plant of the fleet files.
func (s *simulation) load(folder string) error {
	models, err := model.Builtin()
	if err != nil {
		return err
	}
	if folder != "" {
		if err := models.AddFolder(folder); err != nil {
			return err
		}
	}
	// How often a unit is polled is not the plant's business.
	s.fleet, err = inventory.Load(s.files, inventory.Options{Models: models, MinPoll: 1})
	if err != nil {
		return err
	}
	s.plant, err = plant.New(s.fleet, models, plant.Config{Seed: s.seed, Speed: s.speed})
	if err != nil {
		return exit.Usage(err)
	}
	s.config.Source = s.plant
	for _, a := range s.plant.Agents() {
		s.config.Units = append(s.config.Units, a.Unit)
	}
	if err := s.config.Validate(); err != nil {
		return exit.Usage(err)
	}
	return nil
}

// accept lets in whoever has the daemon's credentials.
func (s *simulation) accept(all map[string]snmp.Credentials) {
	for _, name := range slices.Sorted(maps.Keys(all)) {
		switch c := all[name]; c.Version {
		case snmp.Version3:
			u := agent.User{Name: c.User, Auth: c.Auth, AuthPassword: c.AuthPassword, Privacy: c.Privacy, PrivacyPassword: c.PrivacyPassword}
			if !slices.Contains(s.config.Users, u) {
				s.config.Users = append(s.config.Users, u)
			}
		default:
			s.config.Communities = append(s.config.Communities, c.Community)
		}
	}
}

// publicCommunity is accepted when nothing else is; it is no secret.
const publicCommunity = "public"

// communities adds those of the environment and of a file.
func (c *cli) communities(s *simulation) error {
	if v := os.Getenv("PLANTSIM_COMMUNITY"); v != "" {
		s.config.Communities = append(s.config.Communities, collector.NewSecret(v))
	}
	if c.CommunityFile != "" {
		data, err := readFile(c.CommunityFile)
		if err != nil {
			return err
		}
		v := strings.TrimRight(string(data), "\r\n")
		if v == "" {
			return exit.Usage(errors.New("community file " + c.CommunityFile + " is empty"))
		}
		s.config.Communities = append(s.config.Communities, collector.NewSecret(v))
	}
	if len(s.config.Communities)+len(s.config.Users) == 0 {
		s.config.Communities = []collector.Secret{collector.NewSecret(publicCommunity)}
	}
	return nil
}

// print writes a line about the plant and one for each unit.
func (s *simulation) print(out io.Writer, agents *agent.Agents) {
	var who []string
	switch n := len(s.config.Communities); {
	case n == 1 && s.config.Communities[0].Reveal() == publicCommunity:
		who = append(who, "community "+publicCommunity)
	case n == 1:
		who = append(who, "one community")
	case n > 1:
		who = append(who, fmt.Sprintf("%d communities", n))
	}
	for _, u := range s.config.Users {
		who = append(who, "user "+u.Name)
	}
	fmt.Fprintf(out, "plant of %d units, seed %d, speed %g, read only, for %s\n", len(s.fleet.Units), s.seed, s.speed, strings.Join(who, ", "))
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	for _, a := range s.plant.Agents() {
		for _, id := range a.Units {
			u, _ := s.fleet.Unit(id)
			via := ""
			if id != a.Unit {
				via = "  via " + a.Unit
			}
			fmt.Fprintf(w, "%s\t%s\t%s%s\n", id, u.Equipment.Model, agents.Addr(a.Unit), via)
		}
	}
	_ = w.Flush() // out has no better place to tell that it is broken
}
