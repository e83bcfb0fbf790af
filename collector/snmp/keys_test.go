package snmp_test

import (
	"testing"

	"github.com/gosnmp/gosnmp"
	"github.com/stretchr/testify/require"

	"lightwell/collector/snmp/usm"
)

// TestKeysAgreeWithGosnmp compares every pair of protocols with gosnmp, whose
// AES192 and AES256 extend keys by the blumenthal draft and whose AES192C and
// AES256C by the reeder draft.
func TestKeysAgreeWithGosnmp(t *testing.T) {
	auths := map[string]gosnmp.SnmpV3AuthProtocol{"md5": gosnmp.MD5, "sha1": gosnmp.SHA, "sha224": gosnmp.SHA224, "sha256": gosnmp.SHA256, "sha384": gosnmp.SHA384, "sha512": gosnmp.SHA512}
	privacies := map[string]gosnmp.SnmpV3PrivProtocol{"aes128": gosnmp.AES, "aes192-blumenthal": gosnmp.AES192, "aes256-blumenthal": gosnmp.AES256,
		"aes192-reeder": gosnmp.AES192C, "aes256-reeder": gosnmp.AES256C}
	require.Len(t, usm.AuthNames(), len(auths))
	require.Len(t, usm.PrivacyNames(), len(privacies))
	const engine = "\x80\x00\x7e\xd9\x05roof"
	for auth, theirAuth := range auths {
		for privacy, theirPrivacy := range privacies {
			a, _ := usm.AuthNamed(auth)
			p, ok := usm.PrivacyNamed(privacy)
			require.True(t, ok)
			theirs := gosnmp.UsmSecurityParameters{UserName: "u", AuthoritativeEngineID: engine, AuthenticationProtocol: theirAuth, AuthenticationPassphrase: authPassword,
				PrivacyProtocol: theirPrivacy, PrivacyPassphrase: privacyPassword}
			require.NoError(t, theirs.InitSecurityKeys())
			require.Equal(t, theirs.SecretKey, a.Localise(a.Stretch([]byte(authPassword)), []byte(engine)), auth)
			require.Equal(t, theirs.PrivacyKey, p.Localise(a, a.Stretch([]byte(privacyPassword)), []byte(engine)), "%s %s", auth, privacy)
		}
	}
}
