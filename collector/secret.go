package collector

// A Secret is a password, community, token or key. It prints as a placeholder
// in every format, so that it cannot reach a log, an error, the API or the
// page by accident. The zero Secret is empty.
type Secret struct{ value string }

const hidden = "(secret)"

// NewSecret wraps a value read from a file or the environment.
func NewSecret(value string) Secret { return Secret{value} }

// Reveal returns the value, for the one place that needs it.
func (s Secret) Reveal() string { return s.value }

// Empty tells whether there is no value.
func (s Secret) Empty() bool { return s.value == "" }

// String returns a placeholder.
func (s Secret) String() string { return hidden }

// GoString returns a placeholder, for %#v.
func (s Secret) GoString() string { return hidden }

// MarshalText returns a placeholder.
func (s Secret) MarshalText() ([]byte, error) { return []byte(hidden), nil }
