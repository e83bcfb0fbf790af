package notify

import (
	"bytes"
	"crypto/ed25519"
	"crypto/rand"
	"encoding/base64"
	"errors"
	"fmt"
	"net/http"
	"strconv"
	"strings"
	"time"

	standardwebhooks "github.com/standard-webhooks/standard-webhooks/libraries/go"

	"lightwell/collector"
)

// Tolerance is how far the timestamp of a message may be from the receiver's
// clock, either way: the figure of the reference libraries.
const Tolerance = 300 * time.Second

// Prefixes of keys, after Standard Webhooks 1.0.0.
const (
	symmetricPrefix = "whsec_"
	privatePrefix   = "whsk_"
	publicPrefix    = "whpk_"
)

// Reasons to refuse a message.
var (
	ErrSignature = errors.New("no signature matches")
	ErrTimestamp = errors.New("timestamp is too far from now")
)

// Signer signs messages with one or more keys: two during a rotation, so that
// a receiver may hold either. Safe for concurrent use.
type Signer struct {
	symmetric []*standardwebhooks.Webhook
	private   []ed25519.PrivateKey
}

// NewSigner reads secrets of the forms whsec_ (symmetric, 24 to 64 bytes in
// base64) and whsk_ (ed25519, seed or whole private key in base64). Errors
// never quote the secret.
func NewSigner(secrets []collector.Secret) (*Signer, error) {
	s := &Signer{}
	for i, secret := range secrets {
		if err := s.add(secret.Reveal()); err != nil {
			return nil, fmt.Errorf("secret %d: %w", i+1, err)
		}
	}
	return s, nil
}

func (s *Signer) add(secret string) error {
	switch {
	case strings.HasPrefix(secret, symmetricPrefix):
		key, err := symmetricKey(secret)
		if err != nil {
			return err
		}
		wh, err := standardwebhooks.NewWebhookRaw(key)
		s.symmetric = append(s.symmetric, wh)
		return err
	case strings.HasPrefix(secret, privatePrefix):
		key, err := privateKey(secret)
		s.private = append(s.private, key)
		return err
	}
	return fmt.Errorf("must begin with %s or %s", symmetricPrefix, privatePrefix)
}

// Sign returns the value of the webhook-signature header: one signature per
// key, separated by spaces.
func (s *Signer) Sign(id string, at time.Time, body []byte) (string, error) {
	var out []string
	for _, wh := range s.symmetric {
		sig, err := wh.Sign(id, at, body)
		if err != nil {
			return "", fmt.Errorf("sign message %q: %w", id, err)
		}
		out = append(out, sig)
	}
	for _, key := range s.private {
		sig := ed25519.Sign(key, signed(id, at, body))
		out = append(out, "v1a,"+base64.StdEncoding.EncodeToString(sig))
	}
	return strings.Join(out, " "), nil
}

// Verifier checks signatures on the receiver's side. Safe for concurrent use.
type Verifier struct {
	symmetric []*standardwebhooks.Webhook
	public    []ed25519.PublicKey
}

// NewVerifier reads keys of the forms whsec_ and whpk_. A message is good
// when any of them fits.
func NewVerifier(keys []collector.Secret) (*Verifier, error) {
	if len(keys) == 0 {
		return nil, errors.New("no key to verify with")
	}
	v := &Verifier{}
	for i, k := range keys {
		if err := v.add(k.Reveal()); err != nil {
			return nil, fmt.Errorf("key %d: %w", i+1, err)
		}
	}
	return v, nil
}

func (v *Verifier) add(key string) error {
	switch {
	case strings.HasPrefix(key, symmetricPrefix):
		raw, err := symmetricKey(key)
		if err != nil {
			return err
		}
		wh, err := standardwebhooks.NewWebhookRaw(raw)
		v.symmetric = append(v.symmetric, wh)
		return err
	case strings.HasPrefix(key, publicPrefix):
		raw, err := decode(key, publicPrefix)
		if err == nil && len(raw) != ed25519.PublicKeySize {
			err = fmt.Errorf("is %d bytes long: an ed25519 public key has %d", len(raw), ed25519.PublicKeySize)
		}
		v.public = append(v.public, raw)
		return err
	}
	return fmt.Errorf("must begin with %s or %s", symmetricPrefix, publicPrefix)
}

// Verify checks the three headers of a message against its raw body. The
// error wraps ErrTimestamp or ErrSignature.
func (v *Verifier) Verify(body []byte, h http.Header, now time.Time) error {
	sec, err := strconv.ParseInt(h.Get(standardwebhooks.HeaderWebhookTimestamp), 10, 64)
	if err != nil {
		return fmt.Errorf("%w: header is not a number of seconds", ErrTimestamp)
	}
	at := time.Unix(sec, 0)
	if off := now.Sub(at); off > Tolerance || off < -Tolerance {
		return ErrTimestamp
	}
	for _, wh := range v.symmetric {
		if wh.VerifyIgnoringTimestamp(body, h) == nil {
			return nil
		}
	}
	message := signed(h.Get(standardwebhooks.HeaderWebhookID), at, body)
	for sig := range strings.SplitSeq(h.Get(standardwebhooks.HeaderWebhookSignature), " ") {
		if v.verifyPublic(message, sig) {
			return nil
		}
	}
	return ErrSignature
}

func (v *Verifier) verifyPublic(message []byte, sig string) bool {
	raw, found := strings.CutPrefix(sig, "v1a,")
	if !found {
		return false
	}
	b, err := base64.StdEncoding.DecodeString(raw)
	if err != nil {
		return false
	}
	for _, key := range v.public {
		if ed25519.Verify(key, message, b) {
			return true
		}
	}
	return false
}

// GenerateSecret makes a new symmetric secret of 32 random bytes.
func GenerateSecret() collector.Secret {
	key := make([]byte, 32)
	rand.Read(key) // never fails
	return collector.NewSecret(symmetricPrefix + base64.StdEncoding.EncodeToString(key))
}

// PublicKey returns the whpk_ key that belongs to a whsk_ secret, to be given
// to the receiver.
func PublicKey(secret collector.Secret) (string, error) {
	key, err := privateKey(secret.Reveal())
	if err != nil {
		return "", fmt.Errorf("secret: %w", err)
	}
	return publicPrefix + base64.StdEncoding.EncodeToString(key.Public().(ed25519.PublicKey)), nil
}

func signed(id string, at time.Time, body []byte) []byte {
	return fmt.Appendf(nil, "%s.%d.%s", id, at.Unix(), body)
}

func symmetricKey(secret string) ([]byte, error) {
	key, err := decode(secret, symmetricPrefix)
	if err != nil {
		return nil, err
	}
	if len(key) < 24 || len(key) > 64 {
		return nil, fmt.Errorf("is %d bytes long: use 24 to 64", len(key))
	}
	return key, nil
}

func privateKey(secret string) (ed25519.PrivateKey, error) {
	raw, err := decode(secret, privatePrefix)
	if err != nil {
		return nil, err
	}
	switch len(raw) {
	case ed25519.SeedSize:
		return ed25519.NewKeyFromSeed(raw), nil
	case ed25519.PrivateKeySize:
		key := ed25519.NewKeyFromSeed(raw[:ed25519.SeedSize])
		if !bytes.Equal(key, raw) {
			return nil, errors.New("holds a public part that does not belong to its private part")
		}
		return key, nil
	}
	return nil, fmt.Errorf("is %d bytes long: an ed25519 private key has %d or %d", len(raw), ed25519.SeedSize, ed25519.PrivateKeySize)
}

// decode hides the decoder's own error, which tells where in the secret a
// character is wrong.
func decode(secret, prefix string) ([]byte, error) {
	raw, found := strings.CutPrefix(secret, prefix)
	if !found {
		return nil, fmt.Errorf("must begin with %s", prefix)
	}
	b, err := base64.StdEncoding.Strict().DecodeString(raw)
	if err != nil {
		return nil, fmt.Errorf("is not standard base64 after %s", prefix)
	}
	return b, nil
}
