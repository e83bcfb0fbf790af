package access_test

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/alarms/web/access"
)

// TestHash uses a digest published with the algorithm: FIPS 180-4, "abc".
func TestHash(t *testing.T) {
	const abc = "sha256:ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
	require.Equal(t, abc, access.HashOf("abc").String())
	var h access.Hash
	require.NoError(t, h.UnmarshalText([]byte(abc)))
	require.Equal(t, access.HashOf("abc"), h)
	for _, bad := range []string{
		"", "sha256:", abc[7:], abc[:len(abc)-2], abc + "00", strings.Replace(abc, "sha256", "sha512", 1),
		"sha256:" + strings.Repeat("g", 64), "sha256:" + strings.Repeat("0", 64), " " + abc,
	} {
		require.ErrorContains(t, h.UnmarshalText([]byte(bad)), "lightwell token", bad)
	}
	require.Equal(t, access.HashOf("abc"), h, "a fault changes nothing")

	data, err := json.Marshal(map[access.Hash]access.Session{h: {Name: "noc", Token: h}})
	require.NoError(t, err)
	var back map[access.Hash]access.Session
	require.NoError(t, json.Unmarshal(data, &back))
	require.Equal(t, h, back[h].Token)
}

func TestNewSecret(t *testing.T) {
	seen := map[string]bool{}
	for range 100 {
		secret := access.NewSecret()
		require.Regexp(t, `^lightwell_[A-Za-z0-9_-]{43}$`, secret, "32 bytes of base64url")
		require.False(t, seen[secret])
		seen[secret] = true
	}
}

func TestHashedTokenSignsIn(t *testing.T) {
	secret := access.NewSecret()
	g, err := access.NewGuard([]access.Token{{Name: "anna", Role: access.Operate, Hash: access.HashOf(secret)}}, nil)
	require.NoError(t, err)
	p, err := g.SignIn(request(bearer(secret)), now)
	require.NoError(t, err)
	require.Equal(t, "anna", p.Name)
	_, err = g.SignIn(request(basic("anna", secret)), now)
	require.NoError(t, err)
	sum := sha256.Sum256([]byte(secret))
	for _, leaked := range []string{access.HashOf(secret).String(), hex.EncodeToString(sum[:])} {
		_, err = g.SignIn(request(bearer(leaked)), now)
		require.ErrorIs(t, err, access.ErrUnknown, "who has the file has not the secret")
	}
}

func FuzzHash(f *testing.F) {
	f.Add("sha256:ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad")
	f.Add("sha256:")
	f.Fuzz(func(t *testing.T, text string) {
		var h access.Hash
		if h.UnmarshalText([]byte(text)) == nil {
			require.Equal(t, strings.ToLower(text), h.String())
		}
	})
}
