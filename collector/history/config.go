package history

import (
	"errors"
	"fmt"
	"time"
)

// Config says what is kept, and where.
type Config struct {
	Folder string

	RawAge    time.Duration // readings older than this are deleted, block by block
	HourlyAge time.Duration // the same for the hours

	// RawSize and HourlySize bound the bytes on disk, the log of the last hours
	// included; 0: no bound. The oldest blocks go first. The log itself is
	// never cut, and holds some three hours of readings at 15 bytes each: a
	// size must be well above that, or nothing but the log is kept.
	RawSize, HourlySize int64

	Ahead  time.Duration // how far a reading may be ahead of the clock
	Settle time.Duration // how long the clock must keep a jump ahead until it is believed
	Late   time.Duration // how far a reading may be behind the newest one

	Sync     time.Duration // readings of this long can be lost by a power cut
	Queue    int           // polls that may wait to be written; what comes on top is shed
	DiskStop float64       // share of the disk in use above which no reading is written; 1: never
	// RollDelay is how long after its end an hour is summed up. A reading of
	// the hour that comes later stays out of the sum.
	RollDelay time.Duration
}

// Default returns the configuration for a folder.
func Default(folder string) Config {
	const day = 24 * time.Hour
	return Config{
		Folder:    folder,
		RawAge:    35 * day,
		HourlyAge: 3 * 365 * day,
		Ahead:     2 * time.Minute,
		Settle:    5 * time.Minute,
		Late:      7 * day,
		Sync:      5 * time.Second,
		Queue:     16384, // more than a minute of a fleet of 10,000 units
		DiskStop:  0.9,
		RollDelay: 10 * time.Minute,
	}
}

// Validate returns all faults joined.
func (c Config) Validate() error {
	var faults []error
	check := func(ok bool, what string, args ...any) {
		if !ok {
			faults = append(faults, fmt.Errorf(what, args...))
		}
	}
	check(c.Folder != "", "history needs a folder")
	check(c.RawAge >= minRawAge, "raw %s is shorter than %s", c.RawAge, minRawAge)
	check(c.HourlyAge >= c.RawAge, "hourly %s is shorter than raw %s", c.HourlyAge, c.RawAge)
	check(c.RawSize == 0 || c.RawSize >= minSize, "raw size %d is below %d bytes", c.RawSize, minSize)
	check(c.HourlySize == 0 || c.HourlySize >= minSize, "hourly size %d is below %d bytes", c.HourlySize, minSize)
	check(c.Ahead > 0 && c.Settle > 0 && c.Late > 0 && c.Sync > 0 && c.RollDelay >= 0, "ahead, settle, late and sync must be longer than zero")
	check(c.Queue > 0, "queue %d is not above zero", c.Queue)
	check(c.DiskStop > 0 && c.DiskStop <= 1, "disk stop %v is not between 0 and 1", c.DiskStop)
	return errors.Join(faults...)
}

// Least sensible limits: below them, blocks go as soon as they are made.
const (
	minRawAge = 24 * time.Hour
	minSize   = 16 << 20
)
