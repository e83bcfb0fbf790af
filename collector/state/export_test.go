package state

import "time"

// BeImpatient shortens the waits for locks until the test ends.
func BeImpatient(cleanup func(func())) {
	busy, lock := busyTimeout, lockPatience
	busyTimeout, lockPatience = 300*time.Millisecond, 300*time.Millisecond
	cleanup(func() { busyTimeout, lockPatience = busy, lock })
}
