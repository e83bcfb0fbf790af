package upkeep

import (
	"fmt"
	"time"

	"lightwell/alarms"
)

const (
	// lateAfter is how long a message may wait before that is worth an alarm:
	// longer than the first tries and a receiver's restart.
	lateAfter = 5 * time.Minute
	// diskBack is how far below its limit a disk must be again.
	diskBack = 0.02
)

var judges = []judge{
	{alarms.Type{
		ID: WebhookUndelivered, Title: "Webhooks undelivered",
		Why:      "A receiver does not get its messages, so whoever relies on it does not hear of alarms.",
		ClearsBy: "Nothing waiting for longer than five minutes and nothing given up, for a minute; what was given up is sent again or dropped by hand, or forgotten in time.",
		Severity: alarms.Major, Cause: alarms.Cause{Name: "communicationsSubsystemFailure", Number: 505}, EventType: alarms.CommunicationsAlarm,
		Clear: alarms.Damping{For: time.Minute},
	}, undelivered},
	{alarms.Type{
		ID: StateNotWritten, Title: "State not written",
		Why:      "What happens is kept in memory only: a restart now would lose it, operator actions are refused, and webhooks wait.",
		ClearsBy: "The state written again for half a minute.",
		Severity: alarms.Critical, Cause: alarms.Cause{Name: "databaseInconsistency", Number: 160}, EventType: alarms.ProcessingErrorAlarm,
		Raise: alarms.Damping{For: 30 * time.Second}, Clear: alarms.Damping{For: 30 * time.Second},
	}, unwritten},
	{alarms.Type{
		ID: ClockWrong, Title: "Clock wrong",
		Why:      "The clock of this machine jumped: times of alarms and readings are wrong, and readings ahead of time are not kept.",
		ClearsBy: "The clock put right, or one hour in which it ran evenly.",
		Severity: alarms.Major, Cause: alarms.Cause{Name: "realTimeClockFailure", Number: 70}, EventType: alarms.ProcessingErrorAlarm,
	}, clockWrong},
	{alarms.Type{
		ID: DiskAlmostFull, Title: "Disk almost full",
		Why:      "When the disk with the data folder is full, nothing can be stored any more.",
		ClearsBy: "Room on the disk: two per cent below the share that raised it.",
		Severity: alarms.Warning, Cause: alarms.Cause{Name: "storageCapacityProblem", Number: 151}, EventType: alarms.ProcessingErrorAlarm,
		Raise: alarms.Damping{For: time.Minute}, Clear: alarms.Damping{For: time.Minute},
	}, disk},
}

func undelivered(f *Facts, now time.Time, _ func(string) bool) []verdict {
	var out []verdict
	for _, e := range f.Endpoints {
		v := verdict{qualifier: e.Name, severity: alarms.Major, actions: []string{
			"See whether the receiver runs, and whether this machine reaches it; the command webhooks list tells more.",
			"Once it works, send again what was given up: webhooks resend " + e.Name + ".",
		}}
		because := ""
		if e.Error != "" {
			because = " (last: " + e.Error + ")"
		}
		late := !e.Oldest.IsZero() && now.Sub(e.Oldest) > lateAfter
		switch {
		case e.Stopped:
			v.active = true
			v.text = fmt.Sprintf("Receiver %q wanted no more messages: it answered 410. First ask who runs it; webhooks resume %s sends again.", e.Name, e.Name)
		case late:
			v.active = true
			v.text = fmt.Sprintf("Webhooks to %q do not arrive: %d wait, the oldest since %s%s. First see whether the receiver runs.",
				e.Name, e.Pending, e.Oldest.UTC().Format(time.RFC3339), because)
		case e.Dead > 0:
			v.active, v.severity = true, alarms.Minor
			v.text = fmt.Sprintf("%d webhooks to %q were given up%s. First see why: webhooks list; then webhooks resend %s, or webhooks drop %s.",
				e.Dead, e.Name, because, e.Name, e.Name)
		}
		out = append(out, v)
	}
	return out
}

func unwritten(f *Facts, _ time.Time, _ func(string) bool) []verdict {
	v := verdict{active: f.Unwritten != nil, severity: alarms.Critical, actions: []string{
		"See whether the disk is full or read-only, or the database can be reached; then nothing more is needed: what waits is written by itself.",
	}}
	if v.active {
		v.text = fmt.Sprintf("What happens is not stored: %v. Polling and alarms go on; do not restart before it is.", f.Unwritten)
	}
	return []verdict{v}
}

func clockWrong(f *Facts, _ time.Time, _ func(string) bool) []verdict {
	v := verdict{active: f.ClockOff != 0, severity: alarms.Major, actions: []string{
		"Compare the clock of this machine with another, and see whether its time service runs.",
	}}
	if off := f.ClockOff.Round(time.Second); off > 0 {
		v.text = fmt.Sprintf("The clock of this machine jumped ahead by %s, or the machine was suspended. First see whether it is right now.", off)
	} else {
		v.text = fmt.Sprintf("The clock of this machine jumped back by %s. First see whether it is right now.", -off)
	}
	return []verdict{v}
}

func disk(f *Facts, _ time.Time, up func(string) bool) []verdict {
	d := f.Disk
	if d.Used == 0 {
		return nil
	}
	limit := d.Warn
	if up("") {
		limit -= diskBack
	}
	v := verdict{active: d.Used >= limit, severity: alarms.Warning, actions: []string{
		"Make room: old archives, logs, other programs' files. Or keep fewer readings: history.raw, history.raw_size.",
	}}
	v.text = fmt.Sprintf("The disk with the data folder is %.0f %% full. First make room.", 100*d.Used)
	if d.Used >= d.Stop && d.Stop < 1 {
		v.severity = alarms.Major
		v.text = fmt.Sprintf("The disk with the data folder is %.0f %% full: readings are no longer kept, alarms are. First make room.", 100*d.Used)
	}
	return []verdict{v}
}
