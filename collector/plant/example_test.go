package plant_test

import (
	"context"
	"fmt"
	"log"
	"time"

	"lightwell/collector"
	"lightwell/collector/inventory"
	"lightwell/collector/model"
	"lightwell/collector/plant"
)

// A plant of one link whose connector gets dirty.
func ExampleNew() {
	models, err := model.Builtin()
	if err != nil {
		log.Fatal(err)
	}
	fleet, err := inventory.Parse("fleet.yaml", []byte(`
sites: [{id: quay}]
cables: [{id: riser, site: quay, length_m: 140}]
units:
  - {id: roof, site: quay, role: outdoor, model: outdoor-std, via: room}
  - {id: room, site: quay, role: indoor, model: rack-dual-supply, address: 192.0.2.11, credentials: any}
links:
  - {id: a, outdoor: roof, indoor: room, use: repeater, downlink: {cable: riser, strand: 1}, uplink: {cable: riser, strand: 2}}
`), inventory.Options{Models: models})
	if err != nil {
		log.Fatal(err)
	}
	p, err := plant.New(fleet, models, plant.Config{Seed: 1, Start: time.Date(2026, 4, 14, 6, 0, 0, 0, time.UTC), Speed: 60})
	if err != nil {
		log.Fatal(err)
	}
	room, _ := fleet.Unit("room")
	light := func() (level float64) {
		readings, err := p.Prober().Probe(context.Background(), room)
		if err != nil {
			log.Fatal(err)
		}
		for _, r := range readings {
			if r.Point.Quantity == collector.OpticalReceivePower {
				level = r.Value
			}
		}
		return level
	}
	clean := light()
	if _, err := p.Inject(plant.Fault{Kind: "connector-dirty", Link: "a", Size: 3}, p.Start()); err != nil {
		log.Fatal(err)
	}
	fmt.Printf("%.0f dB less light\n", clean-light())
	// Output: 3 dB less light
}
