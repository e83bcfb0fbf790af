package usm

import (
	"crypto/aes"
	"crypto/cipher"
	"crypto/subtle"
	"encoding/binary"
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
	name   string
	level  Level
	auth   Auth
	priv   Privacy
	authKu func() []byte // stretched on first use, then kept
	privKu func() []byte
}

// NewUser returns the user of an account. The error names the protocol that
// is not known or the password that is missing.
func NewUser(a Account) (*User, error) {
	u := &User{name: a.User}
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

const saltSize = 8

// vector is the initialisation vector of RFC 3826 3.1.2.1: boots, time, salt.
func vector(boots, seconds int32, salt []byte) (iv [aes.BlockSize]byte) {
	binary.BigEndian.PutUint32(iv[0:], uint32(boots))
	binary.BigEndian.PutUint32(iv[4:], uint32(seconds))
	copy(iv[8:], salt)
	return iv
}

// encrypt and decrypt run cipher feedback of full blocks over b in place. The
// standard library's own is marked as unfit for new designs; this one is not
// new, and the digest around it gives the authenticity that it lacks.
func encrypt(block cipher.Block, iv [aes.BlockSize]byte, b []byte) {
	for len(b) > 0 {
		block.Encrypt(iv[:], iv[:])
		n := subtle.XORBytes(b, b, iv[:])
		copy(iv[:], b[:n])
		b = b[n:]
	}
}

func decrypt(block cipher.Block, iv [aes.BlockSize]byte, b []byte) {
	for len(b) > 0 {
		var stream [aes.BlockSize]byte
		block.Encrypt(stream[:], iv[:])
		n := copy(iv[:], b)
		subtle.XORBytes(b, b, stream[:n])
		b = b[n:]
	}
}
