package baseline

import (
	"errors"
	"fmt"
	"math"
	"time"

	"lightwell/collector"
)

// Config says what a capture must hold before it may be accepted. A point may
// always move by four standard errors of its own noise and by one quantum;
// the Drift and Range fields say how much more is let pass.
type Config struct {
	MinSamples int           // good readings each point needs; at least 3
	MinTime    time.Duration // time from the first to the last of them; 0: any
	MaxSamples int           // newest readings kept per point, 16 bytes each; at least MinSamples

	DriftDB    float64 // allowed between first and last third of an optical power
	RangeDB    float64 // allowed between its smallest and largest
	DriftRFDB  float64 // as DriftDB for RF levels, noise and gain control
	RangeRFDB  float64 // as RangeDB, likewise
	DriftShare float64 // as DriftDB for currents and voltages, as a share of the level
	RangeShare float64 // as RangeDB, likewise

	Plan PlanCheck // compares captures with the plan of the links; nil: nobody does
}

// Default returns the limits for a visit: ten polls over five minutes. The
// repeatability of an optical monitor at constant temperature is 0.1 to 0.3
// dB (common practice), so a drift of 0.1 dB within a capture is still the
// monitor's. What comes in at an antenna wanders more: half a decibel is far
// below what raises an alarm. 240 readings are four kilobytes a point.
func Default() Config {
	return Config{
		MinSamples: 10, MinTime: 5 * time.Minute, MaxSamples: 240,
		DriftDB: 0.1, RangeDB: 1, DriftRFDB: 0.5, RangeRFDB: 3, DriftShare: 0.01, RangeShare: 0.05,
	}
}

// Validate returns all faults of c, joined.
func (c Config) Validate() error {
	var faults []error
	refuse := func(bad bool, format string, args ...any) {
		if bad {
			faults = append(faults, fmt.Errorf("baseline: "+format, args...))
		}
	}
	refuse(c.MinSamples < 3, "minimum samples %d is below 3; use 3 or more, so that a drift can be told", c.MinSamples)
	refuse(c.MaxSamples < c.MinSamples, "maximum samples %d is below the minimum %d; use the minimum or more", c.MaxSamples, c.MinSamples)
	refuse(c.MinTime < 0, "minimum time %v is negative; use 0 or more", c.MinTime)
	for _, l := range []struct {
		name  string
		value float64
	}{{"drift in dB", c.DriftDB}, {"range in dB", c.RangeDB}, {"drift of RF in dB", c.DriftRFDB}, {"range of RF in dB", c.RangeRFDB}, {"drift share", c.DriftShare}, {"range share", c.RangeShare}} {
		refuse(!(l.value >= 0), "%s %v is not a size; use 0 or more", l.name, l.value)
	}
	return errors.Join(faults...)
}

// tolerance returns how much drift and range a point of a quantity may show on
// top of its noise, and the coarsest step that is taken for its resolution: a
// larger one is a jump. A power read in steps of 0.1 µW has steps of 0.41 dB
// at -30 dBm.
func (c Config) tolerance(info collector.QuantityInfo, level float64) (drift, span, coarsest float64) {
	switch info.Quantity {
	case collector.OpticalReceivePower, collector.OpticalTransmitPower:
		return c.DriftDB, c.RangeDB, 0.5
	}
	switch info.Unit {
	case "dB", "dBm", "dBm/Hz":
		return c.DriftRFDB, c.RangeRFDB, 1
	}
	level = math.Abs(level)
	return c.DriftShare * level, c.RangeShare * level, 0.05 * level
}
