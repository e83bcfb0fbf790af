package usm_test

import (
	"encoding/hex"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/collector"
	"lightwell/collector/snmp/usm"
)

func unhex(t testing.TB, s string) []byte {
	t.Helper()
	b, err := hex.DecodeString(s)
	require.NoError(t, err)
	return b
}

const vectorEngine = "000000000000000000000002"

// Keys of password "maplesyrup" at vectorEngine, and the digest of the 14 ASCII
// octets "roof link test" under them.
var vectors = []struct {
	auth, ku, kul, digest string // ku "" where no source prints it
	source                string
}{
	{"md5", "9faf3283884e92834ebc9847d8edd963", "526f5eed9fcce26f8964c2930787d82b", "af74d36b600533be5cecbb70",
		"RFC 3414 A.3.1; digest computed with an independent HMAC"},
	{"sha1", "9fb5cc0381497b3793528939ff788d5d79145211", "6695febc9288e36282235fc7151f128497b38f3f", "bf5edd108ea1a5d07f1592f1",
		"RFC 3414 A.3.2; digest computed with an independent HMAC"},
	{"sha256", "ab51014d1e077f6017df2b12bee5f5aa72993177e9bb569c4dff5a4ca0b4afac", "8982e0e549e866db361a6b625d84cccc11162d453ee8ce3a6445c2d6776f0f8b",
		"58431ec0e1e2ae6ad752f805f90d8ccab1f8a690b7f59b5f", "computed by the rule of RFC 7860; the keys equal those of several public test suites"},
	{"sha512", "", "22a5a36cedfcc085807a128d7bc6c2382167ad6c0dbc5fdff856740f3d84c099ad1ea87a8db096714d9788bd544047c9021e4229ce27e4c0a69250adfcffbb0b",
		"ca15bc4f9a17fdda786c1f8ff067f449a4baae38510ce3ae59f0735898a5ab73c6da1c7b9f096f1b4461ecdad0c2ac94", "as sha256"},
}

func TestKeysAndDigests(t *testing.T) {
	for _, v := range vectors {
		t.Run(v.auth, func(t *testing.T) {
			a, ok := usm.AuthNamed(v.auth)
			require.True(t, ok)
			ku := a.Stretch([]byte("maplesyrup"))
			if v.ku != "" {
				require.Equal(t, v.ku, hex.EncodeToString(ku), v.source)
			}
			kul := a.Localise(ku, unhex(t, vectorEngine))
			require.Equal(t, v.kul, hex.EncodeToString(kul), v.source)
			require.Equal(t, v.digest, hex.EncodeToString(a.Digest(kul, []byte("roof link test"))), v.source)
		})
	}
}

func TestRepeatedPatternGivesTheSameKey(t *testing.T) {
	a, _ := usm.AuthNamed("md5")
	want := "d10cc8f2f4bfdf77d31d8b068cc50bc8" // RFC 3414 11.2 states that they are equal; value computed
	require.Equal(t, want, hex.EncodeToString(a.Stretch([]byte("bertbert"))))
	require.Equal(t, want, hex.EncodeToString(a.Stretch([]byte("bertbertbert"))))
}

func TestDigestLengths(t *testing.T) {
	want := map[string]int{"md5": 12, "sha1": 12, "sha224": 16, "sha256": 24, "sha384": 32, "sha512": 48} // RFC 3414 6, 7; RFC 7860 4
	require.ElementsMatch(t, []string{"md5", "sha1", "sha224", "sha256", "sha384", "sha512"}, usm.AuthNames())
	for _, name := range usm.AuthNames() {
		a, ok := usm.AuthNamed(name)
		require.True(t, ok)
		require.Equal(t, want[name], a.MAC)
		require.Len(t, a.Digest([]byte("key"), []byte("message")), a.MAC)
	}
	_, ok := usm.AuthNamed("")
	require.False(t, ok)
	_, ok = usm.PrivacyNamed("aes256")
	require.False(t, ok, "without its draft the name says too little")
}

func TestPrivacyKeyLengths(t *testing.T) {
	a, _ := usm.AuthNamed("sha256")
	ku := a.Stretch([]byte("maplesyrup"))
	kul := a.Localise(ku, unhex(t, vectorEngine))
	for name, size := range map[string]int{"aes128": 16, "aes192-blumenthal": 24, "aes192-reeder": 24, "aes256-blumenthal": 32, "aes256-reeder": 32} {
		p, ok := usm.PrivacyNamed(name)
		require.True(t, ok, name)
		require.Equal(t, kul[:size], p.Localise(a, ku, unhex(t, vectorEngine)), "a digest that is long enough is only cut: %s", name)
	}
}

// Time window of an engine that is not authoritative: RFC 3414 3.2 step 7b.
func TestWindow(t *testing.T) {
	t0 := time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	tests := []struct {
		name           string
		boots, seconds int32
		after          time.Duration
		want           bool
		nowBoots, now  int32
	}{
		{"150 s behind", 5, 850, 0, true, 5, 1000},
		{"151 s behind", 5, 849, 0, false, 5, 1000},
		{"earlier boot", 4, 5000, 0, false, 5, 1000},
		{"later boot", 6, 3, 0, true, 6, 3},
		{"time went on as ours", 5, 1500, 500 * time.Second, true, 5, 1500},
		{"a clock slower than ours is taken over", 5, 1349, 500 * time.Second, true, 5, 1349},
		{"150 s behind the time that went on", 5, 890, 40 * time.Second, true, 5, 1040},
		{"151 s behind the time that went on", 5, 889, 40 * time.Second, false, 5, 1040},
		{"ahead of ours is no fault", 5, 9000, 0, true, 5, 9000},
		{"boot count latched", 1<<31 - 1, 2000, 0, false, 1<<31 - 1, 2000},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			var c usm.Clock
			require.True(t, c.Accept(5, 1000, t0))
			require.Equal(t, tt.want, c.Accept(tt.boots, tt.seconds, t0.Add(tt.after)))
			boots, now := c.Now(t0.Add(tt.after))
			require.Equal(t, tt.nowBoots, boots)
			require.Equal(t, tt.now, now)
		})
	}
}

func TestTentativeClockYieldsToTheFirstAuthenticMessage(t *testing.T) {
	t0 := time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	var c usm.Clock
	c.Set(9, 7000, t0)
	boots, seconds := c.Now(t0.Add(90*time.Second + 700*time.Millisecond))
	require.EqualValues(t, 9, boots)
	require.EqualValues(t, 7090, seconds)
	require.True(t, c.Accept(2, 10, t0))
	require.False(t, c.Accept(1, 5000, t0), "from now on it only goes forward")
	_, seconds = c.Now(t0.Add(-time.Hour))
	require.EqualValues(t, 10, seconds, "a local clock that jumps back does not turn time back")
	c.Set(2, 1<<31-10, t0)
	_, seconds = c.Now(t0.Add(time.Minute))
	require.EqualValues(t, 1<<31-1, seconds)
}

func TestNewUserNamesWhatIsMissing(t *testing.T) {
	pw := collector.NewSecret("a good password")
	tests := []struct {
		a    usm.Account
		says string
	}{
		{usm.Account{User: "u", Auth: "sha3"}, `"sha3"`},
		{usm.Account{User: "u", Auth: "sha256"}, "authentication password"},
		{usm.Account{User: "u", Privacy: "aes128"}, "authentication protocol"},
		{usm.Account{User: "u", Auth: "sha256", AuthPassword: pw, Privacy: "des"}, `"des"`},
		{usm.Account{User: "u", Auth: "sha256", AuthPassword: pw, Privacy: "aes128"}, "privacy password"},
	}
	for _, tt := range tests {
		_, err := usm.NewUser(tt.a)
		require.ErrorContains(t, err, tt.says)
		require.NotContains(t, err.Error(), "a good password")
	}
	u, err := usm.NewUser(usm.Account{User: "u"})
	require.NoError(t, err)
	require.Equal(t, usm.NoAuth, u.Level())
}
