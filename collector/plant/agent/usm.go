package agent

import (
	"bytes"
	"crypto/aes"
	"crypto/cipher"
	"crypto/hmac"
	"crypto/md5"
	"crypto/sha1"
	"crypto/sha256"
	"crypto/sha512"
	"errors"
	"fmt"
	"hash"
	"slices"

	"lightwell/collector"
)

// A User is one SNMPv3 user known to every simulated unit. A user with
// privacy must use it, and a user with a password must sign: a request below
// the user's own level is answered with authorizationError.
type User struct {
	Name            string
	Auth            string           // "", md5, sha1, sha224, sha256, sha384, sha512
	AuthPassword    collector.Secret // at least 8 characters (RFC 3414 section 11.2)
	Privacy         string           // "", aes128, aes192-blumenthal, aes256-blumenthal, aes192-reeder, aes256-reeder
	PrivacyPassword collector.Secret // at least 8 characters
}

// minPassword is the least length of a password: RFC 3414 section 11.2.
const minPassword = 8

// Validate reports everything that is wrong with u.
func (u User) Validate() error {
	var errs []error
	fault := func(format string, args ...any) {
		errs = append(errs, fmt.Errorf("user %q: "+format, append([]any{u.Name}, args...)...))
	}
	if u.Name == "" || len(u.Name) > 32 {
		fault("a name has 1 to 32 octets")
	}
	if _, ok := digests[u.Auth]; !ok && u.Auth != "" {
		fault("unknown auth %q; use md5, sha1, sha224, sha256, sha384 or sha512", u.Auth)
	}
	if _, ok := ciphers[u.Privacy]; !ok && u.Privacy != "" {
		fault("unknown privacy %q; use aes128, or aes192 or aes256 with -blumenthal or -reeder", u.Privacy)
	}
	if u.Auth != "" && len(u.AuthPassword.Reveal()) < minPassword {
		fault("auth password is shorter than %d characters", minPassword)
	}
	if u.Privacy != "" && len(u.PrivacyPassword.Reveal()) < minPassword {
		fault("privacy password is shorter than %d characters", minPassword)
	}
	if u.Privacy != "" && u.Auth == "" {
		fault("privacy needs auth")
	}
	return errors.Join(errs...)
}

type digest struct {
	new func() hash.Hash
	mac int // octets of the truncated MAC that are sent
}

// digests: RFC 3414 sections 6 and 7, RFC 7860.
var digests = map[string]digest{
	"md5":    {md5.New, 12},
	"sha1":   {sha1.New, 12},
	"sha224": {sha256.New224, 16},
	"sha256": {sha256.New, 24},
	"sha384": {sha512.New384, 32},
	"sha512": {sha512.New, 48},
}

// An extension lengthens a localized key that is too short for its cipher.
type extension func(new func() hash.Hash, key, engineID []byte) []byte

type privacy struct {
	key    int
	extend extension
}

// ciphers: AES-128 is RFC 3826. Longer keys are in no RFC; two drafts differ
// in how they lengthen a localized key, so the draft is part of the name.
var ciphers = map[string]privacy{
	"aes128":            {16, extendBlumenthal},
	"aes192-blumenthal": {24, extendBlumenthal},
	"aes256-blumenthal": {32, extendBlumenthal},
	"aes192-reeder":     {24, extendReeder},
	"aes256-reeder":     {32, extendReeder},
}

// extendBlumenthal: draft-blumenthal-aes-usm-04 section 3.1.2.1.
func extendBlumenthal(new func() hash.Hash, key, _ []byte) []byte {
	h := new()
	h.Write(key)
	return h.Sum(slices.Clip(key))
}

// extendReeder: draft-reeder-snmpv3-usm-3desede-00 section 2.1.
func extendReeder(new func() hash.Hash, key, engineID []byte) []byte {
	return append(slices.Clip(key), localKey(new, passwordKey(new, key), engineID)...)
}

// passwordKey is Ku of RFC 3414 section A.2: the digest of the password
// repeated to 1,048,576 octets.
func passwordKey(new func() hash.Hash, password []byte) []byte {
	const total = 1 << 20
	chunk := bytes.Repeat(password, 4096/len(password)+1)
	h := new()
	for n := 0; n < total; n += len(chunk) {
		h.Write(chunk[:min(len(chunk), total-n)])
	}
	return h.Sum(nil)
}

// localKey is Kul of RFC 3414 section A.2.
func localKey(new func() hash.Hash, ku, engineID []byte) []byte {
	h := new()
	h.Write(ku)
	h.Write(engineID)
	h.Write(ku)
	return h.Sum(nil)
}

// A level is what protects a message: bit 0 authentication, bit 1 privacy.
type level byte

const (
	noAuthNoPriv level = 0
	authNoPriv   level = 1
	authPriv     level = 3
	reportable   byte  = 4 // flag beside the level in msgFlags
)

// An account is a User whose passwords have become keys.
type account struct {
	level          level
	digest         digest
	privacy        privacy
	authKu, privKu []byte
}

func newAccount(u User) account {
	a := account{digest: digests[u.Auth], privacy: ciphers[u.Privacy]}
	if u.Auth != "" {
		a.level = authNoPriv
		a.authKu = passwordKey(a.digest.new, []byte(u.AuthPassword.Reveal()))
	}
	if u.Privacy != "" {
		a.level = authPriv
		a.privKu = passwordKey(a.digest.new, []byte(u.PrivacyPassword.Reveal()))
	}
	return a
}

// keys are an account's keys at one engine, ready for use.
type keys struct {
	mac   hash.Hash
	block cipher.Block
}

func (a *account) localize(engineID []byte) *keys {
	k := &keys{}
	if a.level&authNoPriv != 0 {
		k.mac = hmac.New(a.digest.new, localKey(a.digest.new, a.authKu, engineID))
	}
	if a.level != authPriv {
		return k
	}
	key := localKey(a.digest.new, a.privKu, engineID)
	for len(key) < a.privacy.key {
		key = a.privacy.extend(a.digest.new, key, engineID)
	}
	block, err := aes.NewCipher(key[:a.privacy.key])
	if err != nil {
		panic(err) // a row of ciphers has a key length that AES does not have
	}
	k.block = block
	return k
}

// A cfb128 is the state of AES in CFB mode (RFC 3826 section 3.1). It lives
// in the scratch space of a request because the standard library's form of
// the mode allocates, and is deprecated there.
type cfb128 struct{ iv, stream [aes.BlockSize]byte }

func (c *cfb128) encrypt(block cipher.Block, data []byte) {
	for ; len(data) > 0; data = data[min(len(data), aes.BlockSize):] {
		block.Encrypt(c.stream[:], c.iv[:])
		for i := range min(len(data), aes.BlockSize) {
			data[i] ^= c.stream[i]
			c.iv[i] = data[i]
		}
	}
}

func (c *cfb128) decrypt(block cipher.Block, data []byte) {
	for ; len(data) > 0; data = data[min(len(data), aes.BlockSize):] {
		block.Encrypt(c.stream[:], c.iv[:])
		for i := range min(len(data), aes.BlockSize) {
			c.iv[i] = data[i]
			data[i] ^= c.stream[i]
		}
	}
}
