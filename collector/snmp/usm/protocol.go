// Package usm is the manager's side of SNMP version 3: the user-based security
// model of RFC 3414 with the digests of RFC 7860 and the AES privacy of RFC
// 3826, message format of RFC 3412.
//
// It guarantees that what Engine.Open returns as authentic was signed by the
// unit with our user's key, decrypts, and lies in the time window; and that a
// password is stretched once, and localised once for each engine. It opens no
// socket and reads no clock: time is an argument. What it reads comes from the
// network; the protocols' numbers come from the RFCs named beside them.
package usm

import (
	"crypto/md5"
	"crypto/sha1"
	"crypto/sha256"
	"crypto/sha512"
	"hash"
	"sync"
)

// An Auth is an authentication protocol.
type Auth struct {
	Name string // as in the configuration
	MAC  int    // octets of the digest that are sent
	hash func() hash.Hash
	idle *sync.Pool // of hashes
}

const maxMAC = 48

// auths: MD5 and SHA-1 from RFC 3414 6 and 7, the others from RFC 7860 4.
var auths = []Auth{
	{"md5", 12, md5.New, pool(md5.New)},
	{"sha1", 12, sha1.New, pool(sha1.New)},
	{"sha224", 16, sha256.New224, pool(sha256.New224)},
	{"sha256", 24, sha256.New, pool(sha256.New)},
	{"sha384", 32, sha512.New384, pool(sha512.New384)},
	{"sha512", 48, sha512.New, pool(sha512.New)},
}

// AuthNamed returns the authentication protocol of that name.
func AuthNamed(name string) (Auth, bool) {
	for _, a := range auths {
		if a.Name == name {
			return a, true
		}
	}
	return Auth{}, false
}

// AuthNames returns the names of the authentication protocols.
func AuthNames() []string {
	out := make([]string, len(auths))
	for i, a := range auths {
		out[i] = a.Name
	}
	return out
}

// stretched is how many octets of repeated password are hashed into a key.
const stretched = 1 << 20

// Stretch turns a password, which must not be empty, into the user's key Ku:
// the hash of 1 MiB of repeated password (RFC 3414 A.2). It takes
// milliseconds.
func (a Auth) Stretch(password []byte) []byte {
	h := a.hash()
	block := make([]byte, 0, 4096+len(password))
	for len(block) < 4096 {
		block = append(block, password...)
	}
	for left := stretched; left > 0; left -= len(block) {
		h.Write(block[:min(left, len(block))])
	}
	return h.Sum(nil)
}

// Localise turns Ku into the key Kul that counts at one engine only:
// H(Ku, engine, Ku), RFC 3414 2.6.
func (a Auth) Localise(ku, engine []byte) []byte {
	h := a.hash()
	h.Write(ku)
	h.Write(engine)
	h.Write(ku)
	return h.Sum(nil)
}

// Digest returns what is sent of the HMAC of message under the localised key.
func (a Auth) Digest(key, message []byte) []byte {
	s := scratches.Get().(*scratch)
	defer scratches.Put(s)
	return append([]byte(nil), s.digest(a, key, message)...)
}

// A Privacy is an encryption protocol: AES in 128-bit cipher feedback (RFC
// 3826). No RFC says how a localised key that is shorter than 24 or 32 octets
// is made longer; two drafts do, and their keys differ, so the names carry the
// draft:
//
//   - blumenthal: draft-blumenthal-aes-usm-04, 3.1.2.1. The hash of all that is
//     there is appended until it is long enough.
//   - reeder: draft-reeder-snmpv3-usm-3desede-00, 2.1. The localised key is
//     taken as a password, stretched and localised again, and appended.
//
// With a digest at least as long as the key (sha256 and up for 32 octets)
// both give the same key.
type Privacy struct {
	Name   string // as in the configuration
	Key    int    // octets of the key
	extend func(a Auth, key, engine []byte) []byte
}

var privacies = []Privacy{
	{"aes128", 16, extendBlumenthal}, // never extended: every digest has 16 octets or more
	{"aes192-blumenthal", 24, extendBlumenthal},
	{"aes256-blumenthal", 32, extendBlumenthal},
	{"aes192-reeder", 24, extendReeder},
	{"aes256-reeder", 32, extendReeder},
}

// PrivacyNamed returns the encryption protocol of that name.
func PrivacyNamed(name string) (Privacy, bool) {
	for _, p := range privacies {
		if p.Name == name {
			return p, true
		}
	}
	return Privacy{}, false
}

// PrivacyNames returns the names of the encryption protocols.
func PrivacyNames() []string {
	out := make([]string, len(privacies))
	for i, p := range privacies {
		out[i] = p.Name
	}
	return out
}

// Localise turns the stretched privacy password Ku into the encryption key
// for one engine. a is the user's authentication protocol (RFC 3826 1.2).
func (p Privacy) Localise(a Auth, ku, engine []byte) []byte {
	key := a.Localise(ku, engine)
	for len(key) < p.Key {
		key = append(key, p.extend(a, key, engine)...)
	}
	return key[:p.Key]
}

func extendBlumenthal(a Auth, key, _ []byte) []byte {
	h := a.hash()
	h.Write(key)
	return h.Sum(nil)
}

// extendReeder stretches the last piece of key, which is one digest long.
func extendReeder(a Auth, key, engine []byte) []byte {
	last := key[len(key)-a.hash().Size():]
	return a.Localise(a.Stretch(last), engine)
}
