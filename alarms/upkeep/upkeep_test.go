package upkeep_test

import (
	"errors"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/upkeep"
)

var noon = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)

// rig is an alarm list that follows a Watch.
type rig struct {
	t    *testing.T
	w    upkeep.Watch
	list *alarms.List
	now  time.Time
	said []string
}

func newRig(t *testing.T) *rig {
	r := &rig{t: t, now: noon}
	r.list = alarms.NewList(alarms.ListConfig{Sink: func(changes []alarms.Change) {
		for _, c := range changes {
			r.said = append(r.said, string(c.Kind)+" "+c.Alarm.Severity.String()+" "+c.Alarm.Type+c.Alarm.Qualifier)
		}
	}})
	return r
}

// see judges facts every ten seconds for a time.
func (r *rig) see(f upkeep.Facts, during time.Duration) []string {
	r.said = nil
	for end := r.now.Add(during); !r.now.After(end); r.now = r.now.Add(10 * time.Second) {
		f.Standing = nil
		for _, a := range r.list.Alarms(alarms.Filter{Clearance: alarms.ClearanceNotCleared}) {
			f.Standing = append(f.Standing, a.Key)
		}
		r.list.Apply(r.now, r.w.Judge(f, r.now)...)
	}
	return r.said
}

func (r *rig) text() string {
	all := r.list.Alarms(alarms.Filter{Clearance: alarms.ClearanceNotCleared})
	require.Len(r.t, all, 1)
	require.NotEmpty(r.t, all[0].Details.Actions)
	require.Equal(r.t, upkeep.Resource, all[0].Resource)
	require.NotZero(r.t, all[0].Cause.Number)
	return all[0].Text
}

func TestState(t *testing.T) {
	r := newRig(t)
	broken := upkeep.Facts{Unwritten: errors.New("no space left for state.db: free some")}
	require.Empty(t, r.see(broken, 20*time.Second), "a hiccup is no alarm")
	require.Equal(t, []string{"raised critical state-not-written"}, r.see(broken, time.Hour))
	require.Contains(t, r.text(), "free some", "the remedy is in the text")
	require.Empty(t, r.see(upkeep.Facts{}, 20*time.Second))
	require.Empty(t, r.see(broken, 10*time.Second))
	require.Equal(t, []string{"cleared critical state-not-written"}, r.see(upkeep.Facts{}, time.Minute))
}

func TestEndpoints(t *testing.T) {
	r := newRig(t)
	with := func(e upkeep.Endpoint) upkeep.Facts { return upkeep.Facts{Endpoints: []upkeep.Endpoint{e}} }
	require.Empty(t, r.see(with(upkeep.Endpoint{Name: "noc", Pending: 3, Oldest: r.now}), 5*time.Minute))
	late := with(upkeep.Endpoint{Name: "noc", Pending: 3, Oldest: noon, Error: "answered 500"})
	require.Equal(t, []string{"raised major webhook-undeliverednoc"}, r.see(late, time.Minute))
	require.Contains(t, r.text(), "answered 500")
	dead := with(upkeep.Endpoint{Name: "noc", Dead: 2})
	require.Equal(t, []string{"severity-changed minor webhook-undeliverednoc"}, r.see(dead, time.Minute))
	require.Contains(t, r.text(), "webhooks resend noc")
	require.Equal(t, []string{"cleared minor webhook-undeliverednoc"}, r.see(with(upkeep.Endpoint{Name: "noc"}), 2*time.Minute))
	require.Equal(t, []string{"raised major webhook-undeliverednoc"}, r.see(with(upkeep.Endpoint{Name: "noc", Stopped: true}), time.Second))
	require.Contains(t, r.text(), "410")
	require.Equal(t, []string{"cleared major webhook-undeliverednoc"}, r.see(upkeep.Facts{}, time.Second), "the endpoint left the configuration")
}

func TestDisk(t *testing.T) {
	r := newRig(t)
	used := func(share float64) upkeep.Facts {
		return upkeep.Facts{Disk: upkeep.Disk{Used: share, Warn: 0.8, Stop: 0.9}}
	}
	require.Empty(t, r.see(used(0.79), 5*time.Minute))
	require.Equal(t, []string{"raised warning disk-almost-full"}, r.see(used(0.81), 5*time.Minute))
	require.Equal(t, []string{"severity-changed major disk-almost-full"}, r.see(used(0.92), 5*time.Minute))
	require.Contains(t, r.text(), "readings are no longer kept, alarms are")
	require.Equal(t, []string{"severity-changed warning disk-almost-full"}, r.see(used(0.79), 5*time.Minute), "hysteresis")
	require.Empty(t, r.see(upkeep.Facts{Disk: upkeep.Disk{Used: 0.79, Warn: 0.8, Stop: 0.9}}, time.Minute))
	require.Equal(t, []string{"cleared warning disk-almost-full"}, r.see(used(0.77), 5*time.Minute))
}

func TestClockAlarm(t *testing.T) {
	r := newRig(t)
	require.Equal(t, []string{"raised major clock-wrong"}, r.see(upkeep.Facts{ClockOff: time.Hour}, time.Minute))
	require.Contains(t, r.text(), "jumped ahead by 1h0m0s")
	require.Equal(t, []string{"cleared major clock-wrong"}, r.see(upkeep.Facts{}, time.Minute))
	require.Equal(t, []string{"raised major clock-wrong"}, r.see(upkeep.Facts{ClockOff: -time.Hour}, 0))
	require.Contains(t, r.text(), "jumped back by 1h0m0s")
}

func TestClock(t *testing.T) {
	const step, hour = 10 * time.Second, time.Hour
	for _, tt := range []struct {
		name  string
		last  time.Time
		jumps map[time.Duration]time.Duration // by time since the start
		want  map[time.Duration]time.Duration
	}{
		{"even", noon.Add(-hour), nil, map[time.Duration]time.Duration{step: 0, 3 * hour: 0}},
		{"ahead, and believed after an hour", noon, map[time.Duration]time.Duration{hour: hour},
			map[time.Duration]time.Duration{hour - step: 0, hour: hour, 2*hour - step: hour, 2 * hour: 0, 3 * hour: 0}},
		{"back, and put right", noon, map[time.Duration]time.Duration{hour: -hour, 90 * time.Minute: hour},
			map[time.Duration]time.Duration{hour: -hour, 90*time.Minute - step: -hour, 90 * time.Minute: 0, 3 * hour: 0}},
		{"twice", noon, map[time.Duration]time.Duration{hour: hour, 90 * time.Minute: hour},
			map[time.Duration]time.Duration{hour: hour, 90 * time.Minute: 2 * hour, 150*time.Minute - step: 2 * hour, 150 * time.Minute: 0}},
		{"a minute is let pass", noon, map[time.Duration]time.Duration{hour: time.Minute}, map[time.Duration]time.Duration{hour: 0}},
		{"back over a restart", noon.Add(hour), nil, map[time.Duration]time.Duration{step: -hour, hour: -hour, hour + step: 0}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			c, wall := upkeep.NewClock(tt.last, noon), noon
			for at := step; at <= 3*hour; at += step {
				wall = wall.Add(step + tt.jumps[at])
				got := c.Observe(wall, at)
				if want, ok := tt.want[at]; ok {
					require.Equal(t, want, got, at.String())
				}
			}
		})
	}
}

func TestTypesSayWhatAPersonNeeds(t *testing.T) {
	for _, typ := range upkeep.Types() {
		require.NotEmpty(t, typ.Title)
		require.NotEmpty(t, typ.Why)
		require.NotEmpty(t, typ.ClearsBy)
		require.NotZero(t, typ.Cause.Number)
	}
}
