package metrics

import (
	"maps"
	"slices"
	"time"
)

// StateFigures is how the writing of the state goes.
type StateFigures struct {
	Written   bool             // the last write worked
	LastWrite time.Time        // that worked; zero: none
	Waiting   int              // changes that are not written yet
	Rows      map[string]int64 // by table; nil: not counted yet
	Bytes     int64            // of the database; 0: not known yet
	DiskUsed  float64          // share of the disk with the data folder; 0: not known
}

var (
	stateWritten = gauge("state_written", "1 if the last write of the state succeeded, 0 if it failed and operator actions are refused.")
	stateTime    = gauge("state_last_write_timestamp_seconds", "When the state was last written with success, in seconds since 1970.")
	stateWaiting = gauge("state_changes_waiting", "Changes that are not written yet.")
	stateRows    = gauge("state_rows", "Rows of each table of the state, counted once an hour.", "table")
	stateBytes   = gauge("state_database_bytes", "Size of the database of the state, in bytes, measured once an hour.")
	diskUsed     = gauge("data_disk_used_ratio", "Share of the disk with the data folder that is in use.")
)

func stateFamilies() []*family {
	return []*family{stateWritten, stateTime, stateWaiting, stateRows, stateBytes, diskUsed}
}

func (m *Metrics) fillState(out *sheet) {
	if m.cfg.State == nil {
		return
	}
	f := m.cfg.State()
	written := 0.0
	if f.Written {
		written = 1
	}
	out.put(stateWritten, written)
	out.putTime(stateTime, f.LastWrite)
	out.put(stateWaiting, float64(f.Waiting))
	for _, table := range slices.Sorted(maps.Keys(f.Rows)) {
		out.put(stateRows, float64(f.Rows[table]), table)
	}
	if f.Bytes > 0 {
		out.put(stateBytes, float64(f.Bytes))
	}
	if f.DiskUsed > 0 {
		out.put(diskUsed, f.DiskUsed)
	}
}
