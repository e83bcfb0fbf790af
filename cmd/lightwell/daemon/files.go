package daemon

import (
	"errors"

	"lightwell/alarms"
	"lightwell/alarms/rules"
	"lightwell/alarms/upkeep"
	"lightwell/cmd/lightwell/config"
	"lightwell/collector"
	"lightwell/collector/document"
	"lightwell/collector/inventory"
	"lightwell/collector/model"
)

// Files are the equipment models and the fleet that a configuration names.
type Files struct {
	Models *model.Set
	Fleet  *collector.Fleet
}

// LoadFiles reads models and fleet files. The error holds every fault of all
// of them, as document.Faults where they are faults of content.
func LoadFiles(cfg config.Config) (Files, error) {
	models, err := model.Builtin()
	if err != nil {
		return Files{}, err
	}
	var faults document.Faults
	if cfg.Models != "" {
		if err := models.AddFolder(cfg.Models); !gather(&faults, err) {
			return Files{}, err
		}
	}
	fleet, err := inventory.Load(cfg.Fleet, inventory.Options{
		Models: models, DefaultPoll: cfg.Poll, MinPoll: cfg.MinPoll,
		Credentials: credentialNames(cfg), AlarmTypes: TypeNames(),
	})
	if !gather(&faults, err) {
		return Files{}, err
	}
	if fleet != nil {
		faults = append(faults, cfg.CheckNames(TypeNames(), fleet)...)
	}
	return Files{models, fleet}, faults.Err()
}

// gather adds faults of content to all; it reports false for any other error.
func gather(all *document.Faults, err error) bool {
	var faults document.Faults
	if errors.As(err, &faults) {
		*all = append(*all, faults...)
		return true
	}
	return err == nil
}

func credentialNames(cfg config.Config) []string {
	names := make([]string, 0, len(cfg.Credentials))
	for name := range cfg.Credentials {
		names = append(names, name)
	}
	return names
}

// AlarmTypes returns all alarm types: the inventory.
func AlarmTypes() []alarms.Type {
	var types []alarms.Type
	for _, r := range rules.All() {
		types = append(types, r.Type())
	}
	return append(types, upkeep.Types()...)
}

// TypeNames returns the names of all alarm types.
func TypeNames() []string {
	var names []string
	for _, t := range AlarmTypes() {
		names = append(names, t.ID)
	}
	return names
}
