package plant_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/collector/plant"
)

func BenchmarkObjects(b *testing.B) {
	for _, c := range []struct {
		name, agent string
		fault       plant.Fault
	}{
		{"pair", "rack", plant.Fault{}},
		{"pair, a fault elsewhere", "rack", plant.Fault{Kind: "cable-cut", Cable: "tray"}},
		{"pair, dark", "rack", plant.Fault{Kind: "cable-cut", Cable: "riser"}},
		{"one roof unit on two links", "hall-1", plant.Fault{}},
	} {
		b.Run(c.name, func(b *testing.B) {
			p := newBench(b, 1)
			if c.fault.Kind != "" {
				_, err := p.Inject(c.fault, start.Add(time.Hour))
				require.NoError(b, err)
			}
			now := p.wall.Add(2 * time.Hour)
			b.ReportAllocs()
			for b.Loop() {
				if objects, silent := p.Objects(c.agent, now); silent || len(objects) < 15 {
					b.Fatal("no objects")
				}
			}
		})
	}
}
