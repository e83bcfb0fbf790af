package snmp

import (
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"lightwell/collector"
	"lightwell/collector/model"
	"lightwell/collector/snmp/usm"
)

// Versions of SNMP, as Credentials name them.
const (
	Version1  = "1"
	Version2c = "2c"
	Version3  = "3"
)

// Credentials are what a unit is asked with. md5 and sha1 are weak and work
// only when named. There is no default protocol: an empty Auth sends nothing
// signed, an empty Privacy nothing encrypted.
type Credentials struct {
	Version         string // "1", "2c" or "3"
	Community       collector.Secret
	User            string
	Auth            string // "", or a name of usm.AuthNames
	AuthPassword    collector.Secret
	Privacy         string // "", or a name of usm.PrivacyNames: the name says which key extension is meant
	PrivacyPassword collector.Secret
	Context         string // of version 3; almost always ""
}

// MaxObjects is the most objects that one GET may ask for.
const MaxObjects = 60

// Config is what a Client needs.
type Config struct {
	Models      *model.Set
	Credentials map[string]Credentials // by the name that units use
	Timeout     time.Duration          // how long one try waits
	Retries     int                    // further tries after the first
	MaxObjects  int                    // objects in one GET, 1 to MaxObjects; units with more are asked in turns
	Window      int                    // units asked at once; as many again as an eighth of it of those that stay silent
	Pace        int                    // requests a second; 0: as fast as they go
}

// Default returns a config that lacks only models and credentials. Two tries
// of 2 s find a dead unit in 4 s; a reply of 40 objects fits one packet on
// Ethernet; 20,000 requests a second ask 100,000 units in 5 s.
func Default() Config {
	return Config{Timeout: 2 * time.Second, Retries: 1, MaxObjects: 40, Window: 4096, Pace: 20_000}
}

// minPassword is the shortest password that RFC 3414 11.2 allows.
const minPassword = 8

// Validate returns all faults of the config, joined, in a fixed order.
func (c Config) Validate() error {
	var faults []error
	check := func(bad bool, format string, args ...any) {
		if bad {
			faults = append(faults, fmt.Errorf(format, args...))
		}
	}
	check(c.Models == nil, "models: none loaded")
	check(c.Timeout <= 0 || c.Timeout > time.Minute, "timeout %s: use more than 0s, at most 1m", c.Timeout)
	check(c.Retries < 0 || c.Retries > 10, "retries %d: use 0 to 10", c.Retries)
	check(c.MaxObjects < 1 || c.MaxObjects > MaxObjects, "objects in one request %d: use 1 to %d", c.MaxObjects, MaxObjects)
	check(c.Window < 1 || c.Window > 1<<16, "window %d: use 1 to %d", c.Window, 1<<16)
	check(c.Pace < 0, "pace %d: use 0 or more", c.Pace)
	for _, name := range slices.Sorted(maps.Keys(c.Credentials)) {
		for _, fault := range c.Credentials[name].faults() {
			check(true, "credentials %q: %s", name, fault)
		}
	}
	return errors.Join(faults...)
}

// faults returns what is wrong with the credentials, without any secret.
func (c Credentials) faults() (out []string) {
	check := func(bad bool, format string, args ...any) {
		if bad {
			out = append(out, fmt.Sprintf(format, args...))
		}
	}
	switch c.Version {
	case Version1, Version2c:
		check(c.Community.Empty(), "version %s needs a community", c.Version)
		check(c.User+c.Auth+c.Privacy+c.Context != "" || !c.AuthPassword.Empty() || !c.PrivacyPassword.Empty(),
			"user, auth, privacy and context belong to version 3; remove them or set version to 3")
	case Version3:
		check(!c.Community.Empty(), "community belongs to versions 1 and 2c; remove it or set the version")
		check(c.User == "", "version 3 needs a user")
		check(len(c.User) > 32, "user has more than 32 octets")
		out = append(out, c.protocolFaults()...)
	default:
		check(true, "version %q is not known: use 1, 2c or 3", c.Version)
	}
	return out
}

func (c Credentials) protocolFaults() (out []string) {
	check := func(bad bool, format string, args ...any) {
		if bad {
			out = append(out, fmt.Sprintf(format, args...))
		}
	}
	_, authKnown := usm.AuthNamed(c.Auth)
	_, privacyKnown := usm.PrivacyNamed(c.Privacy)
	check(c.Auth != "" && !authKnown, "auth %q is not known: use one of %s", c.Auth, strings.Join(usm.AuthNames(), ", "))
	check(c.Privacy != "" && !privacyKnown, "privacy %q is not known: use one of %s", c.Privacy, strings.Join(usm.PrivacyNames(), ", "))
	check(c.Privacy != "" && c.Auth == "", "privacy without auth: name an auth protocol too")
	check(c.Auth != "" && len(c.AuthPassword.Reveal()) < minPassword, "auth password is shorter than %d characters", minPassword)
	check(c.Privacy != "" && len(c.PrivacyPassword.Reveal()) < minPassword, "privacy password is shorter than %d characters", minPassword)
	check(c.Auth == "" && !c.AuthPassword.Empty(), "auth password without auth: name the protocol")
	check(c.Privacy == "" && !c.PrivacyPassword.Empty(), "privacy password without privacy: name the protocol")
	return out
}

// Validate returns all faults of the credentials, joined; none quotes a
// secret.
func (c Credentials) Validate() error {
	var faults []error
	for _, fault := range c.faults() {
		faults = append(faults, errors.New(fault))
	}
	return errors.Join(faults...)
}
