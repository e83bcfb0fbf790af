// Package access decides who may do what over HTTP: it knows the tokens and
// their roles, signs a request in by bearer token, by name and secret, or by
// the session of a browser, slows down guessing, and refuses requests to
// foreign names.
//
// It guarantees that a secret is compared in constant time by its hash, is
// kept as that hash only, and never appears in an answer; the same holds for
// the id of a session. Its data are the tokens of the configuration and the
// requests themselves.
package access

import (
	"fmt"
	"strings"
)

// Role says how much a person may do. Each role includes those below it.
type Role uint8

// Roles, rising. The zero Role may nothing.
const (
	Nothing    Role = iota
	See             // read page, API and metrics
	Operate         // act on alarms, poll a unit now
	Commission      // begin and accept baselines
	Administer      // everything
)

var roleNames = [...]string{"nothing", "see", "operate", "commission", "administer"}

// String returns the word used in files and texts.
func (r Role) String() string {
	if int(r) < len(roleNames) {
		return roleNames[r]
	}
	return fmt.Sprintf("role(%d)", uint8(r))
}

// May tells whether r includes need.
func (r Role) May(need Role) bool { return r >= need }

// MarshalText writes the word of String.
func (r Role) MarshalText() ([]byte, error) { return []byte(r.String()), nil }

// UnmarshalText reads the word; "nothing" is not a role one can be given.
func (r *Role) UnmarshalText(b []byte) error {
	for i, name := range roleNames[1:] {
		if name == string(b) {
			*r = Role(i + 1)
			return nil
		}
	}
	return fmt.Errorf("unknown role %q: use %s", b, strings.Join(roleNames[1:], ", "))
}

// A Person is who made a request.
type Person struct {
	Name string
	Role Role
	From string // address the request came from; empty: not known

	Session bool // signed in on the sign-in page, and so may sign out
}

// Local is everybody on the machine itself when there are no tokens.
var Local = Person{Name: "local", Role: Administer}
