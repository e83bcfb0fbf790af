package agent_test

import (
	"bytes"
	"crypto/md5"
	"crypto/sha1"
	"encoding/hex"
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/collector"
	"lightwell/collector/plant/agent"
)

// Password "maplesyrup" at engine 000000000000000000000002. MD5 and SHA-1:
// RFC 3414 A.3.1 and A.3.2. SHA-256 and SHA-512: computed by the same rules
// with RFC 7860's digests (it prints none). MACs: computed, of the 14 octets
// "roof link test", at the lengths of RFC 3414 and RFC 7860.
var vectors = []struct{ auth, ku, kul, mac string }{
	{"md5", "9faf3283884e92834ebc9847d8edd963", "526f5eed9fcce26f8964c2930787d82b", "af74d36b600533be5cecbb70"},
	{"sha1", "9fb5cc0381497b3793528939ff788d5d79145211", "6695febc9288e36282235fc7151f128497b38f3f", "bf5edd108ea1a5d07f1592f1"},
	{"sha256", "ab51014d1e077f6017df2b12bee5f5aa72993177e9bb569c4dff5a4ca0b4afac",
		"8982e0e549e866db361a6b625d84cccc11162d453ee8ce3a6445c2d6776f0f8b", "58431ec0e1e2ae6ad752f805f90d8ccab1f8a690b7f59b5f"},
	{"sha512", "", "22a5a36cedfcc085807a128d7bc6c2382167ad6c0dbc5fdff856740f3d84c099ad1ea87a8db096714d9788bd544047c9021e4229ce27e4c0a69250adfcffbb0b",
		"ca15bc4f9a17fdda786c1f8ff067f449a4baae38510ce3ae59f0735898a5ab73c6da1c7b9f096f1b4461ecdad0c2ac94"},
}

func unhex(t testing.TB, s string) []byte {
	t.Helper()
	b, err := hex.DecodeString(s)
	require.NoError(t, err)
	return b
}

func TestKeys(t *testing.T) {
	engineID := unhex(t, "000000000000000000000002")
	for _, v := range vectors {
		t.Run(v.auth, func(t *testing.T) {
			ku, kul, mac := agent.Keys(v.auth, []byte("maplesyrup"), engineID, []byte("roof link test"))
			if v.ku != "" {
				require.Equal(t, v.ku, hex.EncodeToString(ku))
			}
			require.Equal(t, v.kul, hex.EncodeToString(kul))
			require.Equal(t, v.mac, hex.EncodeToString(mac))
		})
	}
}

// RFC 3414 section 11.2: a repeated password gives the key of its pattern.
// Digest computed.
func TestRepeatedPassword(t *testing.T) {
	once, _, _ := agent.Keys("md5", []byte("bertbert"), nil, nil)
	again, _, _ := agent.Keys("md5", []byte("bertbertbert"), nil, nil)
	require.Equal(t, "d10cc8f2f4bfdf77d31d8b068cc50bc8", hex.EncodeToString(once))
	require.Equal(t, once, again)
}

// The definitions of the two drafts, written out once more by hand.
func TestExtendedKeys(t *testing.T) {
	engineID := unhex(t, "000000000000000000000002")
	_, kul, _ := agent.Keys("md5", []byte("maplesyrup"), engineID, nil)
	sum := md5.Sum(kul)
	require.Equal(t, append(bytes.Clone(kul), sum[:]...), agent.Extended(md5.New, "aes256-blumenthal", kul, engineID))

	_, kul, _ = agent.Keys("sha1", []byte("maplesyrup"), engineID, nil)
	_, second, _ := agent.Keys("sha1", kul, engineID, nil)
	require.Equal(t, append(bytes.Clone(kul), second...)[:24], agent.Extended(sha1.New, "aes192-reeder", kul, engineID))
}

func TestEngineID(t *testing.T) {
	for _, c := range []struct{ unit, want string }{
		{"nq-room", "80007ed904" + hex.EncodeToString([]byte("nq-room"))},
		{"a-unit-with-27-octets-in-it", "80007ed904" + hex.EncodeToString([]byte("a-unit-with-27-octets-in-it"))},
	} {
		require.Equal(t, c.want, hex.EncodeToString(agent.EngineID(c.unit)))
	}
	long, other := agent.EngineID("a-unit-with-28-octets-in-it!"), agent.EngineID("a-unit-with-28-octets-in-it?")
	require.Len(t, long, 21)
	require.Equal(t, byte(5), long[4])
	require.NotEqual(t, long, other)
}

func TestUserValidate(t *testing.T) {
	good, short := collector.NewSecret("12345678"), collector.NewSecret("1234567")
	for _, c := range []struct {
		name  string
		user  agent.User
		wants []string
	}{
		{"open", agent.User{Name: "a"}, nil},
		{"signed", agent.User{Name: "a", Auth: "sha512", AuthPassword: good}, nil},
		{"sealed", agent.User{Name: "a", Auth: "sha1", AuthPassword: good, Privacy: "aes256-reeder", PrivacyPassword: good}, nil},
		{"no name", agent.User{}, []string{`user "": a name has 1 to 32 octets`}},
		{"unknown words", agent.User{Name: "a", Auth: "crc", AuthPassword: good, Privacy: "rot13", PrivacyPassword: good},
			[]string{`user "a": unknown auth "crc"`, `user "a": unknown privacy "rot13"`}},
		{"short passwords", agent.User{Name: "a", Auth: "md5", AuthPassword: short, Privacy: "aes128", PrivacyPassword: short},
			[]string{"auth password is shorter than 8", "privacy password is shorter than 8"}},
		{"privacy alone", agent.User{Name: "a", Privacy: "aes128", PrivacyPassword: good}, []string{"privacy needs auth"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			err := c.user.Validate()
			if c.wants == nil {
				require.NoError(t, err)
				return
			}
			for _, want := range c.wants {
				require.ErrorContains(t, err, want)
			}
			require.NotContains(t, err.Error(), short.Reveal())
		})
	}
}
