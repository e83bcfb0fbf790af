package notify_test

import (
	"crypto/ed25519"
	"encoding/base64"
	"net/http"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms/notify"
	"lightwell/collector"
)

// Vectors: the first from the public test suites of Standard Webhooks 1.0.0,
// the second computed with an independent HMAC-SHA256.
var vectors = []struct {
	name, secret, id, body, signature string
	at                                int64
}{
	{"published", "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw", "msg_p5jXN8AQM9LWM0D4loKWxJek", `{"test": 2432232314}`,
		"v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE=", 1614265330},
	{"computed", secret, "evt_01", `{"specversion":"1.0","type":"alarm.raised","source":"/links/7","id":"evt_01","data":{"severity":"major"}}`,
		"v1,QXyPMtwtRYjWP6Ppup4naDuaZ0LN/xAbO89dkfgUrx0=", 1767225600},
}

func headers(id string, at int64, signature string) http.Header {
	h := http.Header{}
	h.Set("webhook-id", id)
	h.Set("webhook-timestamp", strconv.FormatInt(at, 10))
	h.Set("webhook-signature", signature)
	return h
}

func TestSignVectors(t *testing.T) {
	for _, tt := range vectors {
		t.Run(tt.name, func(t *testing.T) {
			s, err := notify.NewSigner(secrets(tt.secret))
			require.NoError(t, err)
			got, err := s.Sign(tt.id, time.Unix(tt.at, 0), []byte(tt.body))
			require.NoError(t, err)
			require.Equal(t, tt.signature, got)
		})
	}
}

func TestVerify(t *testing.T) {
	v, err := notify.NewVerifier(secrets(vectors[0].secret))
	require.NoError(t, err)
	right, id, body := vectors[0].signature, vectors[0].id, vectors[0].body
	at := vectors[0].at
	tests := []struct {
		name      string
		signature string
		body      string
		now       int64
		want      error
	}{
		{"right", right, body, at, nil},
		{"right among wrong ones", "v1,AAAA " + right, body, at, nil}, // Standard Webhooks 1.0.0: any may match
		{"other version alone", "v1a," + right[3:], body, at, notify.ErrSignature},
		{"no version", right[3:], body, at, notify.ErrSignature},
		{"empty", "", body, at, notify.ErrSignature},
		{"body changed", right, body + " ", at, notify.ErrSignature},
		{"300 s old", right, body, at + 300, nil},
		{"301 s old", right, body, at + 301, notify.ErrTimestamp},
		{"300 s ahead", right, body, at - 300, nil},
		{"301 s ahead", right, body, at - 301, notify.ErrTimestamp},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			err := v.Verify([]byte(tt.body), headers(id, at, tt.signature), time.Unix(tt.now, 0))
			require.ErrorIs(t, err, tt.want)
		})
	}
	h := headers(id, at, right)
	h.Set("webhook-timestamp", "soon")
	require.ErrorIs(t, v.Verify([]byte(body), h, time.Unix(at, 0)), notify.ErrTimestamp)
	require.ErrorIs(t, v.Verify([]byte(body), headers("other", at, right), time.Unix(at, 0)), notify.ErrSignature)
}

func privateSecret(fill byte) string {
	seed := make([]byte, ed25519.SeedSize)
	for i := range seed {
		seed[i] = fill + byte(i)
	}
	return "whsk_" + base64.StdEncoding.EncodeToString(seed)
}

// A receiver may hold either key during a rotation, of either kind.
func TestRotation(t *testing.T) {
	old, next := privateSecret(1), privateSecret(2)
	fresh := notify.GenerateSecret().Reveal()
	s, err := notify.NewSigner(secrets(secret, fresh, old, next))
	require.NoError(t, err)
	now := time.Unix(1767225600, 0)
	signature, err := s.Sign("evt_02", now, []byte("body"))
	require.NoError(t, err)
	require.Len(t, strings.Fields(signature), 4)
	publicOld, err := notify.PublicKey(collector.NewSecret(old))
	require.NoError(t, err)
	publicNext, err := notify.PublicKey(collector.NewSecret(next))
	require.NoError(t, err)
	publicOther, err := notify.PublicKey(collector.NewSecret(privateSecret(9)))
	require.NoError(t, err)
	for key, want := range map[string]error{
		secret: nil, fresh: nil, publicOld: nil, publicNext: nil,
		publicOther: notify.ErrSignature, vectors[0].secret: notify.ErrSignature,
	} {
		v, err := notify.NewVerifier(secrets(key))
		require.NoError(t, err)
		require.ErrorIs(t, v.Verify([]byte("body"), headers("evt_02", now.Unix(), signature), now), want)
		require.ErrorIs(t, v.Verify([]byte("Body"), headers("evt_02", now.Unix(), signature), now), notify.ErrSignature)
	}
}

// RFC 8032, 7.1, test 1: the secret key and its public key.
func TestPublicKeyVector(t *testing.T) {
	seed := "nWGxne/9WmC6hEr0kuwsxERJxWl7MmkZcDusAxyuf2A="
	public := "11qYAYKxCrfVS/7TyWQHOg7hcvPapiMlrwIaaPcHURo="
	got, err := notify.PublicKey(collector.NewSecret("whsk_" + seed))
	require.NoError(t, err)
	require.Equal(t, "whpk_"+public, got)
}

func TestBadKeys(t *testing.T) {
	b64 := func(n int) string { return base64.StdEncoding.EncodeToString(make([]byte, n)) }
	for name, s := range map[string]string{
		"empty": "", "no prefix": b64(32), "too short": "whsec_" + b64(23), "too long": "whsec_" + b64(65),
		"not base64": "whsec_***", "url base64": "whsec_" + strings.Repeat("_", 32), "private too short": "whsk_" + b64(31),
		"private halves differ": "whsk_" + b64(64), "public as secret": "whpk_" + b64(32),
	} {
		t.Run(name, func(t *testing.T) {
			_, err := notify.NewSigner(secrets(s))
			require.Error(t, err)
			if len(s) > 10 {
				require.NotContains(t, err.Error(), s[6:], "an error must not quote a secret")
			}
		})
	}
	for _, n := range []int{24, 64} {
		_, err := notify.NewSigner(secrets("whsec_" + b64(n)))
		require.NoError(t, err)
	}
	_, err := notify.NewVerifier(nil)
	require.Error(t, err, "without a key every message would pass or none")
	for _, k := range []string{"whpk_" + b64(31), "whsk_" + b64(32), "whsec_" + b64(1)} {
		_, err := notify.NewVerifier(secrets(k))
		require.Error(t, err)
	}
}

func FuzzSecret(f *testing.F) {
	for _, s := range []string{secret, privateSecret(1), "whsec_", "whsk_AAAA", "", "whpk_x"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		signer, err := notify.NewSigner(secrets(s))
		if err != nil {
			return
		}
		now := time.Unix(1767225600, 0)
		signature, err := signer.Sign("evt", now, []byte("body"))
		require.NoError(t, err)
		key := s
		if strings.HasPrefix(s, "whsk_") {
			key, err = notify.PublicKey(collector.NewSecret(s))
			require.NoError(t, err)
		}
		v, err := notify.NewVerifier(secrets(key))
		require.NoError(t, err)
		require.NoError(t, v.Verify([]byte("body"), headers("evt", now.Unix(), signature), now))
	})
}
