package alarms

import "fmt"

// Severity is the perceived severity of RFC 8632. The numbers are that
// document's; other standards number differently, so only names leave the
// program.
type Severity uint8

// Severities. Cleared occurs in status changes only, never as the severity of
// an alarm. The zero value means "as assigned".
const (
	Cleared       Severity = 1
	Indeterminate Severity = 2
	Warning       Severity = 3
	Minor         Severity = 4
	Major         Severity = 5
	Critical      Severity = 6
)

var severityNames = [...]string{"", "cleared", "indeterminate", "warning", "minor", "major", "critical"}

// String returns the name used by RFC 8632.
func (s Severity) String() string {
	if s > 0 && int(s) < len(severityNames) {
		return severityNames[s]
	}
	return fmt.Sprintf("severity(%d)", uint8(s))
}

// ParseSeverity reads a name; "cleared" is one.
func ParseSeverity(name string) (Severity, error) {
	for i, n := range severityNames[1:] {
		if n == name {
			return Severity(i + 1), nil
		}
	}
	return 0, fmt.Errorf("unknown severity %q: use warning, minor, major or critical", name)
}

// MarshalText writes the name; the zero value is the empty string.
func (s Severity) MarshalText() ([]byte, error) {
	if s == 0 {
		return nil, nil
	}
	return []byte(s.String()), nil
}

// UnmarshalText reads the name.
func (s *Severity) UnmarshalText(b []byte) error {
	if len(b) == 0 {
		*s = 0
		return nil
	}
	v, err := ParseSeverity(string(b))
	*s = v
	return err
}
