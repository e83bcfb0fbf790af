package rules_test

import (
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/collector"
	"lightwell/collector/plant"
)

// TestPlantFaultsThatOnlyTheDiagnosisTells: what levels and states alone would
// take for something else, or for nothing.
func TestPlantFaultsThatOnlyTheDiagnosisTells(t *testing.T) {
	for name, c := range map[string]struct {
		change func(*collector.Fleet)
		work   string
		fault  plant.Fault
		want   string
		cause  string
	}{
		"a crossed pair is not a cut": {work: "link/l1", fault: plant.Fault{Kind: "pair-crossed", Link: "l1"}, want: "optical-signal-lost link/l1", cause: "pair-crossed"},
		"the only pair of a cable, crossed": {
			change: func(f *collector.Fleet) {
				f.Cables = append(f.Cables, collector.Cable{ID: "duct", Site: "quay", LengthM: 300})
				f.Links[0].Downlink.Cable, f.Links[0].Uplink.Cable = "duct", "duct"
			},
			work: "link/l1", fault: plant.Fault{Kind: "pair-crossed", Link: "l1"}, want: "optical-signal-lost link/l1", cause: "pair-crossed",
		},
		"a roof without power is not two cuts": {
			change: func(f *collector.Fleet) {
				f.Cables = append(f.Cables, collector.Cable{ID: "duct", Site: "quay", LengthM: 300})
				for i := range 2 {
					f.Links[i].Downlink.Cable, f.Links[i].Uplink.Cable = "duct", "duct"
				}
			},
			fault: plant.Fault{Kind: "outdoor-power-lost", Site: "quay"}, want: "optical-signal-lost site/quay", cause: "outdoor-power-lost",
		},
		"lost slope stays below the limits of a level": {
			fault: plant.Fault{Kind: "slope-loss", Unit: "roof-1", Size: 25}, want: "rf-level-deviation unit/rack-1/rf_output_level", cause: "slope-loss",
		},
		"a reflection moves no level": {
			fault: plant.Fault{Kind: "reflection", Link: "l1", Direction: "uplink", Size: 14}, want: "rf-level-deviation unit/roof-1/rf_noise_floor", cause: "reflection",
		},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				w := newWatch(t, 1, c.change)
				w.commission()
				require.Empty(t, w.run(2*time.Minute, 10*time.Second), "sound")
				if c.work != "" {
					w.works = []alarms.Work{{ID: "visit", Resources: []string{c.work}, Begin: time.Now().Add(-time.Hour), End: time.Now()}}
				}
				id, err := w.plant.Inject(c.fault, w.plant.PlantTime(time.Now()))
				require.NoError(t, err)
				require.Equal(t, []string{"raised " + c.want}, w.run(3*time.Minute, 10*time.Second))
				kind, resource, _ := strings.Cut(c.want, " ")
				a, ok := w.list.Alarm(alarms.NewID(alarms.Key{Resource: resource, Type: kind}))
				require.True(t, ok)
				require.NotNil(t, a.Details.Finding)
				require.Equal(t, c.cause, a.Details.Finding.Cause)
				require.NotEmpty(t, a.Details.Cautions)
				require.NoError(t, w.plant.Repair(id, w.plant.PlantTime(time.Now())))
				require.Equal(t, []string{"cleared " + c.want}, w.run(3*time.Minute, 10*time.Second))
			})
		})
	}
}

// TestNoFindingContradictsItsAlarm: at no moment after a cut, whichever units
// were read before it, does an alarm about lost light say that the links work.
func TestNoFindingContradictsItsAlarm(t *testing.T) {
	for _, fault := range []plant.Fault{{Kind: "cable-cut", Cable: "riser"}, {Kind: "outdoor-power-lost", Site: "quay"}} {
		synctest.Test(t, func(t *testing.T) {
			w := newWatch(t, 1)
			w.commission()
			_, err := w.plant.Inject(fault, w.plant.PlantTime(time.Now()))
			require.NoError(t, err)
			told := 0
			for range 60 {
				w.run(time.Second, time.Second)
				for _, a := range w.list.Alarms(alarms.Filter{}) {
					if f := a.Details.Finding; f != nil && strings.HasPrefix(a.Type, "optical") {
						told++
						require.NotEqual(t, "management-lost", f.Cause, a.Resource)
					}
				}
			}
			require.Positive(t, told)
		})
	}
}
