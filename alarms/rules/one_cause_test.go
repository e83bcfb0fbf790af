package rules_test

import (
	"context"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"net/http"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/baseline"
	"lightwell/alarms/diagnosis"
	"lightwell/alarms/notify"
	"lightwell/alarms/rules"
	"lightwell/collector"
	"lightwell/collector/model"
	"lightwell/collector/plant"
)

// receiver is the far end of a webhook.
type receiver struct {
	mu   sync.Mutex
	told []notify.Alarm
	kind []string
}

// RoundTrip implements http.RoundTripper.
func (r *receiver) RoundTrip(req *http.Request) (*http.Response, error) {
	var event struct {
		Type string       `json:"type"`
		Data notify.Alarm `json:"data"`
	}
	if err := json.NewDecoder(req.Body).Decode(&event); err != nil {
		return nil, err
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	r.told, r.kind = append(r.told, event.Data), append(r.kind, strings.TrimPrefix(event.Type, "lightwell.alarm."))
	return &http.Response{StatusCode: http.StatusNoContent, Body: http.NoBody, Request: req}, nil
}

// hear returns what came since it was asked last.
func (r *receiver) hear() (lines []string, told []notify.Alarm) {
	synctest.Wait()
	r.mu.Lock()
	defer r.mu.Unlock()
	for i, a := range r.told {
		lines = append(lines, r.kind[i]+" "+a.Type+" "+a.Resource)
	}
	told = r.told
	r.told, r.kind = nil, nil
	return lines, told
}

// bigFleet has a cable with 24 links, twenty pairs and a mast that feeds four
// rooms, and two pairs in another one.
func bigFleet(t *testing.T, models *model.Set) *collector.Fleet {
	f := collector.Fleet{Sites: []collector.Site{{ID: "quay", Location: time.UTC}}, Cables: []collector.Cable{{ID: "riser", Site: "quay", LengthM: 300}, {ID: "shaft", Site: "quay", LengthM: 120}}}
	unit := func(id, kind, via string, role collector.Role) {
		m, ok := models.Model(kind)
		require.True(t, ok, kind)
		f.Units = append(f.Units, collector.Unit{ID: id, Site: "quay", Role: role, Equipment: m.Equipment, Via: via})
	}
	link := func(id, out, in, cable string, strand int) {
		path := collector.Path{Cable: cable, Strand: strand, WavelengthNM: 1310, Connectors: 4, Splices: 2}
		up := path
		up.Strand++
		f.Links = append(f.Links, collector.Link{ID: id, Outdoor: out, Indoor: in, Use: collector.Repeater, Downlink: path, Uplink: up})
	}
	kinds := []string{"rack-dual-supply", "rack-entity-sensors", "compact-single-supply"}
	for i := range 22 {
		roof, room := fmt.Sprintf("roof-%d", i+1), fmt.Sprintf("room-%d", i+1)
		cable := "riser"
		if i >= 20 {
			cable = "shaft"
		}
		unit(roof, "outdoor-std", room, collector.Outdoor)
		unit(room, kinds[i%len(kinds)], "", collector.Indoor)
		link(fmt.Sprintf("l%d", i+1), roof, room, cable, 2*i+1)
	}
	unit("mast", "outdoor-std", "hall-1", collector.Outdoor)
	for i := range 4 {
		unit(fmt.Sprintf("hall-%d", i+1), kinds[i%len(kinds)], "", collector.Indoor)
		link(fmt.Sprintf("m%d", i+1), "mast", fmt.Sprintf("hall-%d", i+1), "riser", 61+2*i)
	}
	return collector.NewFleet(f)
}

// A big watch tells a receiver over webhooks what it sees of the big fleet. Its
// units are polled at moments of the seed, spread over the period.
type bigWatch struct {
	*watch
	list *alarms.List
	far  *receiver
	rand *rand.Rand
}

func newBigWatch(t *testing.T, seed uint64) *bigWatch {
	models, err := model.Builtin()
	require.NoError(t, err)
	w := &bigWatch{watch: &watch{t: t, fleet: bigFleet(t, models), life: map[string]collector.Reading{}}, far: &receiver{}, rand: rand.New(rand.NewPCG(seed, 7))}
	w.plant, err = plant.New(w.fleet, models, plant.Config{Seed: seed, Start: time.Date(2026, 4, 14, 6, 0, 0, 0, time.UTC)})
	require.NoError(t, err)
	w.book, err = baseline.NewBook(&baseline.Memory{}, baseline.Default())
	require.NoError(t, err)
	w.book.SetFleet(w.fleet)
	noc := notify.Endpoint{Name: "noc", URL: collector.NewSecret("https://noc.example/hook"), Secrets: []collector.Secret{collector.NewSecret("whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw")}}
	d, err := notify.New(notify.Config{Source: "/test", Via: w.far, Endpoints: []notify.Endpoint{noc}})
	require.NoError(t, err)
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- d.Run(ctx) }()
	t.Cleanup(func() {
		stop()
		require.NoError(t, <-done)
	})
	w.list = alarms.NewList(alarms.ListConfig{Sink: func(changes []alarms.Change) { require.NoError(t, d.Publish(changes)) }})
	w.engine = alarms.NewEngine(alarms.EngineConfig{Rules: rules.All(), List: w.list, Baselines: w.book, Diagnose: diagnosis.Diagnose})
	w.engine.SetFleet(w.fleet)
	w.commission()
	lines, _ := w.far.hear()
	require.Empty(t, lines, "sound")
	return w
}

// watch lets time pass with polls every so often, each period in another
// order, and returns what the receiver was told.
func (w *bigWatch) pass(d, every time.Duration) ([]string, []notify.Alarm) {
	for end := time.Now().Add(d); time.Now().Before(end); {
		for _, i := range w.rand.Perm(len(w.fleet.Units)) {
			<-time.After(every / time.Duration(len(w.fleet.Units)))
			p := w.poll(w.fleet.Units[i])
			w.book.Observe(p)
			w.engine.Observe(p)
			w.engine.Evaluate(time.Now())
		}
		w.engine.EvaluateAll(time.Now())
	}
	return w.far.hear()
}

func (w *bigWatch) active() []alarms.Alarm {
	return w.list.Alarms(alarms.Filter{Clearance: alarms.ClearanceNotCleared})
}

// behind returns an alarm and how many others are related to it, by way of
// others or directly.
func (w *bigWatch) behind(id string) (root alarms.Alarm, others int) {
	root, ok := w.list.Alarm(id)
	require.True(w.t, ok)
	met, next := map[alarms.Key]bool{root.Key: true}, root.Related
	for len(next) > 0 {
		k := next[0]
		next = next[1:]
		if a, ok := w.list.Alarm(alarms.NewID(k)); ok && !met[k] {
			require.Equal(w.t, alarms.HoldSymptom, a.Hold.Reason, k)
			met[k], next = true, append(next, a.Related...)
		}
	}
	return root, len(met) - 1
}

func (w *bigWatch) inject(f plant.Fault) plant.FaultID {
	w.t.Helper()
	id, err := w.plant.Inject(f, w.plant.PlantTime(time.Now()))
	require.NoError(w.t, err)
	return id
}

func (w *bigWatch) repair(id plant.FaultID) {
	require.NoError(w.t, w.plant.Repair(id, w.plant.PlantTime(time.Now())))
}

// TestOneCause: what happens is told once, at the cause, whatever the order of
// the polls, and its end is told once.
func TestOneCause(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		fault    plant.Fault
		seeds    uint64
		want     string
		severity alarms.Severity
		impacted int
	}{
		{plant.Fault{Kind: "cable-cut", Cable: "riser"}, 2, "optical-signal-lost cable/riser", alarms.Critical, 24},
		{plant.Fault{Kind: "outdoor-power-lost", Unit: "mast"}, 1, "optical-signal-lost unit/mast", alarms.Critical, 4},
		{plant.Fault{Kind: "outdoor-power-lost", Site: "quay"}, 1, "optical-signal-lost site/quay", alarms.Critical, 26},
		{plant.Fault{Kind: "management-lost", Site: "quay"}, 1, "unit-unreachable site/quay", alarms.Major, 26},
		{plant.Fault{Kind: "mains-dip", Site: "quay", For: 4 * time.Minute}, 1, "mains-lost site/quay", alarms.Critical, 26},
	} {
		for seed := range c.seeds {
			t.Run(fmt.Sprint(c.fault.Kind, " ", c.fault.Target(), " ", seed), func(t *testing.T) {
				t.Parallel()
				synctest.Test(t, func(t *testing.T) {
					w := newBigWatch(t, seed+1)
					id := w.inject(c.fault)
					lines, told := w.pass(3*time.Minute, 30*time.Second)
					require.Equal(t, []string{"raised " + c.want}, lines)
					require.Equal(t, c.severity, told[0].Severity)
					require.Len(t, told[0].Impacted, c.impacted)
					require.False(t, told[0].BackedUp)
					root, quiet := w.behind(alarms.NewID(alarms.Key{Resource: told[0].Resource, Type: told[0].Type}))
					require.Equal(t, len(w.active())-1, quiet, "every other alarm is related to it, by way of others perhaps")
					require.Zero(t, root.Hold)
					t.Logf("1 webhook; %d alarms held back as consequences", quiet)
					if c.fault.For == 0 {
						w.repair(id)
					}
					lines, _ = w.pass(6*time.Minute, 30*time.Second)
					require.Equal(t, []string{"cleared " + c.want}, lines)
					require.Empty(t, w.active())
				})
			})
		}
	}
}

// TestPartialRepair: the splicer leaves one strand open. It is told once the
// cable's alarm is over, and nothing else is.
func TestPartialRepair(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		w := newBigWatch(t, 4)
		cut := w.inject(plant.Fault{Kind: "cable-cut", Cable: "riser"})
		lines, _ := w.pass(3*time.Minute, 30*time.Second)
		require.Equal(t, []string{"raised optical-signal-lost cable/riser"}, lines)
		open := w.inject(plant.Fault{Kind: "fibre-open", Link: "l7"})
		w.repair(cut)
		lines, told := w.pass(8*time.Minute, 30*time.Second)
		require.ElementsMatch(t, []string{"cleared optical-signal-lost cable/riser", "released optical-signal-lost unit/room-7/optical_receive_power"}, lines)
		for _, a := range told {
			if !a.Cleared {
				require.Equal(t, []string{"link/l7"}, a.Impacted)
			}
		}
		w.repair(open)
		lines, _ = w.pass(3*time.Minute, 30*time.Second)
		require.Equal(t, []string{"cleared optical-signal-lost unit/room-7/optical_receive_power"}, lines)
	})
}
