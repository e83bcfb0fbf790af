package document

import (
	"fmt"
	"time"
)

// Duration is a time span as people write it: "30s", "20m", "1h30m".
type Duration time.Duration

// UnmarshalText reads what time.ParseDuration reads. The error is a Fault
// with a remedy.
func (d *Duration) UnmarshalText(b []byte) error {
	v, err := time.ParseDuration(string(b))
	if err != nil {
		return Fault{What: fmt.Sprintf("%q is not a duration", b), Remedy: "write a number with its unit, like 30s, 20m or 1h30m"}
	}
	*d = Duration(v)
	return nil
}

// MarshalText writes the form that UnmarshalText reads.
func (d Duration) MarshalText() ([]byte, error) { return []byte(d.String()), nil }

// String returns the duration as time.Duration prints it.
func (d Duration) String() string { return time.Duration(d).String() }
