package notify_test

import (
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/notify"
)

// The real alarm list in front: planned work, shelf and acknowledgement reach
// the receiver as they should, and reminders ask the list while it publishes.
func TestWithAlarmList(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var d *notify.Dispatcher
		list := alarms.NewList(alarms.ListConfig{Sink: func(c []alarms.Change) { require.NoError(t, d.Publish(c)) }})
		f := newReceiver(t, nil)
		e := endpoint()
		e.Repeat, e.OperatorActions = 10*time.Minute, true
		d = start(t, notify.Config{Endpoints: []notify.Endpoint{e}, Via: f, Current: list.Alarm})
		key := alarms.Key{Resource: "unit/nq-room/supply_state/b", Type: "supply-redundancy-lost"}
		apply := func(change func(*alarms.Update)) {
			u := alarms.Update{Key: key, Site: "north-quay", Active: true, Severity: alarms.Minor, Text: "supply b failed: replace it", Time: time.Now()}
			change(&u)
			list.Apply(time.Now(), u)
			<-time.After(15 * time.Minute)
			synctest.Wait()
		}
		expect := func(want ...string) {
			t.Helper()
			require.Equal(t, want, types(t, f.got()))
			f.mu.Lock()
			f.requests = nil
			f.mu.Unlock()
		}
		planned := func(u *alarms.Update) { u.Hold = alarms.Hold{Reason: alarms.HoldPlannedWork, By: "riser"} }

		apply(planned)
		expect()
		apply(func(*alarms.Update) {})
		expect("lightwell.alarm.released", notify.ReminderType)
		apply(planned)
		expect() // announced before: it stays silent and is not repeated
		apply(func(*alarms.Update) {})
		expect(notify.ReminderType) // known already: only the reminders go on

		op := alarms.Operation{Operator: "mira", Text: "on my way", Now: time.Now()}
		_, err := list.Acknowledge(alarms.NewID(key), op)
		require.NoError(t, err)
		<-time.After(time.Hour)
		synctest.Wait()
		expect("lightwell.alarm.acknowledged")
		apply(func(u *alarms.Update) { u.Active = false })
		expect(clearedType)
		require.Zero(t, d.Stats()[0].Pending)
	})
}
