package usm

import (
	"crypto/aes"
	"crypto/cipher"
	"fmt"
	"sync"

	"lightwell/collector"
)

// A Level is a security level: the low bits of a message's flags.
type Level byte

// Levels.
const (
	NoAuth   Level = 0
	AuthOnly Level = 1
	AuthPriv Level = 3
)

// Account is what a user is known by.
type Account struct {
	User            string
	Auth            string // name of an Auth; "" for none
	AuthPassword    collector.Secret
	Privacy         string // name of a Privacy; "" for none
	PrivacyPassword collector.Secret
}

// A User signs and encrypts under one account. Safe for concurrent use.
type User struct {
	name   []byte
	level  Level
	auth   Auth
	priv   Privacy
	authKu func() []byte // stretched on first use, then kept
	privKu func() []byte
}

// NewUser returns the user of an account. The error names the protocol that
// is not known or the password that is missing.
func NewUser(a Account) (*User, error) {
	u := &User{name: []byte(a.User)}
	if a.Auth == "" && a.Privacy == "" {
		return u, nil
	}
	var ok bool
	if u.auth, ok = AuthNamed(a.Auth); !ok {
		return nil, fmt.Errorf("user %q: authentication protocol %q is not known", a.User, a.Auth)
	}
	if a.AuthPassword.Empty() {
		return nil, fmt.Errorf("user %q: authentication password is missing", a.User)
	}
	u.level = AuthOnly
	u.authKu = u.stretch(a.AuthPassword)
	if a.Privacy == "" {
		return u, nil
	}
	if u.priv, ok = PrivacyNamed(a.Privacy); !ok {
		return nil, fmt.Errorf("user %q: privacy protocol %q is not known", a.User, a.Privacy)
	}
	if a.PrivacyPassword.Empty() {
		return nil, fmt.Errorf("user %q: privacy password is missing", a.User)
	}
	u.level = AuthPriv
	u.privKu = u.stretch(a.PrivacyPassword)
	return u, nil
}

// Level returns the security level of the user's messages.
func (u *User) Level() Level { return u.level }

func (u *User) stretch(password collector.Secret) func() []byte {
	return sync.OnceValue(func() []byte { return u.auth.Stretch([]byte(password.Reveal())) })
}

// keys are a user's keys at one engine.
type keys struct {
	auth  []byte
	block cipher.Block
}

func (u *User) localise(engine []byte) (keys, error) {
	var k keys
	if u.level == NoAuth {
		return k, nil
	}
	k.auth = u.auth.Localise(u.authKu(), engine)
	if u.level == AuthPriv {
		block, err := aes.NewCipher(u.priv.Localise(u.auth, u.privKu(), engine))
		if err != nil {
			return keys{}, fmt.Errorf("localise privacy key: %w", err)
		}
		k.block = block
	}
	return k, nil
}
