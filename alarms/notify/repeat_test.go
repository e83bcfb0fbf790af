package notify_test

import (
	"encoding/json"
	"net/http"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	cloudevents "github.com/cloudevents/sdk-go/v2/event"
	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/notify"
)

func types(t *testing.T, rs []request) []string {
	t.Helper()
	var out []string
	for _, r := range rs {
		var e cloudevents.Event
		require.NoError(t, json.Unmarshal(r.body, &e))
		out = append(out, e.Type())
	}
	return out
}

const (
	raisedType  = "lightwell.alarm.raised"
	clearedType = "lightwell.alarm.cleared"
)

func TestReminders(t *testing.T) {
	for _, tt := range []struct {
		name string
		ends alarms.ChangeKind
		with func(*alarms.Change)
		sent []string // after the reminders
	}{
		{"acknowledged", alarms.Acknowledged, func(c *alarms.Change) { c.Alarm.Operator = alarms.OperatorAck }, nil},
		{"closed", alarms.Closed, func(c *alarms.Change) { c.Alarm.Operator = alarms.OperatorClosed }, nil},
		{"cleared", alarms.ClearedChange, func(*alarms.Change) {}, []string{clearedType}},
		{"shelved", alarms.ShelvedChange, func(c *alarms.Change) { c.Notify, c.Alarm.ShelfName = false, "s" }, nil},
		{"held", alarms.Held, func(c *alarms.Change) { c.Notify, c.Alarm.Hold.Reason = false, alarms.HoldPlannedWork }, nil},
		{"purged", alarms.Purged, func(*alarms.Change) {}, []string{"lightwell.alarm.purged"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				f := newReceiver(t, nil)
				e := endpoint()
				e.Repeat = 10 * time.Minute
				d := start(t, notify.Config{Endpoints: []notify.Endpoint{e}, Via: f})
				require.NoError(t, d.Publish([]alarms.Change{change(1, "a", alarms.Raised, alarms.Major)}))
				<-time.After(25 * time.Minute)
				c := change(2, "a", tt.ends, alarms.Major)
				tt.with(&c)
				require.NoError(t, d.Publish([]alarms.Change{c}))
				<-time.After(2 * time.Hour)
				synctest.Wait()
				got := f.got()
				require.Equal(t, append([]string{raisedType, notify.ReminderType, notify.ReminderType}, tt.sent...), types(t, got))
				require.Equal(t, []string{"0s", "10m0s", "20m0s"}, offsets(got)[:3])
				require.NotEqual(t, got[1].id, got[2].id, "each reminder is an event of its own")
				var ev cloudevents.Event
				require.NoError(t, json.Unmarshal(got[2].body, &ev))
				var a notify.Alarm
				require.NoError(t, ev.DataAs(&a))
				require.Equal(t, 2, a.Reminder)
			})
		})
	}
}

// While the last message of an alarm is still on its way, no reminder is put
// behind it: they would pile up.
func TestRemindersDoNotPileUp(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := newReceiver(t, func(int, request) (*http.Response, error) { return answer(http.StatusInternalServerError), nil })
		e := endpoint()
		e.Repeat = time.Minute
		d := start(t, notify.Config{Endpoints: []notify.Endpoint{e}, Via: f})
		require.NoError(t, d.Publish([]alarms.Change{change(1, "a", alarms.Raised, alarms.Major)}))
		<-time.After(10 * time.Hour)
		synctest.Wait()
		require.Equal(t, 1, d.Stats()[0].Pending)
	})
}

// Reminders ask the list how the alarm stands: planned work makes no change
// that is published.
func TestReminderLooksAtCurrentAlarm(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var held atomic.Bool
		raised := change(1, "a", alarms.Raised, alarms.Major)
		f := newReceiver(t, nil)
		e := endpoint()
		e.Repeat = 10 * time.Minute
		d := start(t, notify.Config{Endpoints: []notify.Endpoint{e}, Via: f, Current: func(string) (alarms.Alarm, bool) {
			a := raised.Alarm
			if held.Load() {
				a.Hold = alarms.Hold{Reason: alarms.HoldPlannedWork, By: "roof"}
			}
			return a, true
		}})
		require.NoError(t, d.Publish([]alarms.Change{raised}))
		<-time.After(15 * time.Minute)
		held.Store(true)
		<-time.After(3 * time.Hour)
		synctest.Wait()
		require.Equal(t, []string{raisedType, notify.ReminderType}, types(t, f.got()))
		held.Store(false)
		released := change(2, "a", alarms.Released, alarms.Major)
		released.Notify = false // receivers know of it since before
		require.NoError(t, d.Publish([]alarms.Change{released}))
		<-time.After(15 * time.Minute)
		synctest.Wait()
		require.Equal(t, []string{raisedType, notify.ReminderType, notify.ReminderType}, types(t, f.got()))
	})
}

func TestRemindersAfterRestart(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := newReceiver(t, nil)
		e := endpoint()
		e.Repeat = 10 * time.Minute
		d := start(t, notify.Config{Endpoints: []notify.Endpoint{e}, Via: f})
		told := change(1, "told", alarms.Raised, alarms.Major).Alarm
		silent := change(2, "silent", alarms.Raised, alarms.Major).Alarm
		silent.Announced = false
		acked := told
		acked.ID, acked.Operator = "acked", alarms.OperatorAck
		d.Restore([]alarms.Alarm{told, acked, silent})
		<-time.After(11 * time.Minute)
		synctest.Wait()
		require.Equal(t, []string{notify.ReminderType}, types(t, f.got()))
	})
}

func TestHeartbeat(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		up := true
		f := newReceiver(t, func(int, request) (*http.Response, error) {
			if up {
				return answer(http.StatusOK), nil
			}
			return answer(http.StatusInternalServerError), nil
		})
		e := endpoint()
		e.Heartbeat = time.Minute
		d := start(t, notify.Config{Endpoints: []notify.Endpoint{e}, Via: f})
		<-time.After(150 * time.Second)
		synctest.Wait()
		got := f.got()
		require.Equal(t, []string{"0s", "1m0s", "2m0s"}, offsets(got), "the first at once")
		var ev cloudevents.Event
		require.NoError(t, json.Unmarshal(got[0].body, &ev))
		require.Equal(t, notify.HeartbeatType, ev.Type())
		require.Empty(t, ev.Subject())
		var h notify.Heartbeat
		require.NoError(t, ev.DataAs(&h))
		require.Equal(t, notify.Heartbeat{IntervalSeconds: 60}, h)

		up = false
		require.NoError(t, d.Publish([]alarms.Change{change(1, "a", alarms.Raised, alarms.Major)}))
		<-time.After(time.Minute)
		synctest.Wait()
		s := d.Stats()[0]
		require.Equal(t, 1, s.Pending, "a heartbeat that fails is not kept: the next one comes anyway")
		got = f.got()
		require.NoError(t, json.Unmarshal(got[len(got)-2].body, &ev))
		require.NoError(t, json.Unmarshal(got[len(got)-1].body, &ev))
		var beats int
		for _, ty := range types(t, got) {
			if ty == notify.HeartbeatType {
				beats++
			}
		}
		require.Equal(t, 4, beats)
	})
}

func TestReload(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		up := false
		f := newReceiver(t, func(int, request) (*http.Response, error) {
			if up {
				return answer(http.StatusOK), nil
			}
			return answer(http.StatusInternalServerError), nil
		})
		first, second := endpoint(), endpoint()
		second.Name = "second"
		d := start(t, notify.Config{Endpoints: []notify.Endpoint{first, second}, Via: f})
		require.NoError(t, d.Publish([]alarms.Change{change(1, "a", alarms.Raised, alarms.Major)}))
		synctest.Wait()
		bad := first
		bad.Repeat = 1
		require.Error(t, d.SetEndpoints([]notify.Endpoint{bad}))
		require.Len(t, d.Stats(), 2, "a faulty reload changes nothing")

		up = true
		first.Repeat = time.Hour
		require.NoError(t, d.SetEndpoints([]notify.Endpoint{first}))
		<-time.After(6 * time.Second)
		synctest.Wait()
		s := d.Stats()
		require.Len(t, s, 1)
		require.EqualValues(t, 1, s[0].Delivered, "its pending message lived through the reload")
		require.EqualValues(t, 2, s[0].Attempts, "its figures go on")
		require.Len(t, f.got(), 3)

		require.NoError(t, d.SetEndpoints([]notify.Endpoint{first, second}))
		list, err := d.Entries("second")
		require.NoError(t, err)
		require.Len(t, list, 1)
		require.Equal(t, notify.Dead, list[0].State)
		require.Contains(t, list[0].Reason, "removed")
	})
}
