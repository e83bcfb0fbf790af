package access

import (
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"fmt"
	"strings"

	"lightwell/collector"
)

// MinSecret is the shortest secret a token may have, in bytes: long enough
// that guessing is hopeless at the rate the Guard allows.
const MinSecret = 16

// A Token lets one person or program in.
type Token struct {
	Name   string           // recorded as the operator of every action
	Secret collector.Secret // empty where there is a Hash
	Role   Role
	Hash   Hash // zero where there is a Secret
}

// hash is that of the secret, whichever of the two the token was given.
func (t *Token) hash() Hash {
	if t.Hash != (Hash{}) {
		return t.Hash
	}
	return HashOf(t.Secret.Reveal())
}

// A Hash is what is kept of a secret: its SHA-256. It may stand in a file
// that others read as long as the secret is one that NewSecret made: 256
// random bits cannot be searched for, and so need neither salt nor a slow
// function as passwords do (NIST SP 800-63B 5.1.1.2 asks for those because
// passwords can be guessed).
type Hash [sha256.Size]byte

// HashOf returns the hash of a secret.
func HashOf(secret string) Hash { return sha256.Sum256([]byte(secret)) }

const hashScheme = "sha256:"

// String returns the hash as the configuration has it.
func (h Hash) String() string { return hashScheme + hex.EncodeToString(h[:]) }

// MarshalText writes what String returns.
func (h Hash) MarshalText() ([]byte, error) { return []byte(h.String()), nil }

// UnmarshalText reads what String returns.
func (h *Hash) UnmarshalText(b []byte) error {
	digits, ok := strings.CutPrefix(string(b), hashScheme)
	sum, err := hex.DecodeString(digits)
	if !ok || err != nil || len(sum) != len(h) || [sha256.Size]byte(sum) == (Hash{}) {
		return errors.New("not the hash of a token: write what `lightwell token` prints, sha256: and 64 hexadecimal digits")
	}
	*h = Hash(sum)
	return nil
}

// secretMark begins every secret, so that programs that look for secrets in
// places where none should be can tell one.
const secretMark = "lightwell_"

// NewSecret returns a secret of 256 random bits.
func NewSecret() string {
	var random [32]byte
	rand.Read(random[:]) // never fails
	return secretMark + base64.RawURLEncoding.EncodeToString(random[:])
}

// Check returns every fault of the tokens, joined; none of the texts holds a
// secret.
func Check(tokens []Token) error {
	var faults []error
	names, hashes := map[string]bool{}, map[Hash]string{}
	for i, t := range tokens {
		if err := CheckName(t.Name); err != nil {
			faults = append(faults, fmt.Errorf("token %d: %w", i+1, err))
		} else if names[t.Name] {
			faults = append(faults, fmt.Errorf("token %q: another token has this name; give each person their own", t.Name))
		}
		names[t.Name] = true
		if t.Role == Nothing || t.Role > Administer {
			faults = append(faults, fmt.Errorf("token %q: role missing; use see, operate, commission or administer", t.Name))
		}
		if err := t.checkSecret(); err != nil {
			faults = append(faults, fmt.Errorf("token %q: %w", t.Name, err))
			continue
		}
		if other, double := hashes[t.hash()]; double {
			faults = append(faults, fmt.Errorf("token %q: same secret as token %q; each needs its own", t.Name, other))
		}
		hashes[t.hash()] = t.Name
	}
	return errors.Join(faults...)
}

// CheckName tells what is wrong with the name of a token.
func CheckName(name string) error {
	if name == "" || len(name) > 100 || strings.ContainsAny(name, ": \t\r\n") {
		return fmt.Errorf("name %q must not be empty, longer than 100 bytes, or hold spaces or colons", name)
	}
	return nil
}

func (t *Token) checkSecret() error {
	n := len(t.Secret.Reveal())
	switch hashed := t.Hash != (Hash{}); {
	case hashed && n > 0:
		return errors.New("both hash and secret are given; keep the hash")
	case !hashed && n < MinSecret:
		return fmt.Errorf("secret has %d bytes; use %d or more random ones, or make a token with `lightwell token`", n, MinSecret)
	}
	return nil
}
