package web_test

import (
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"io"
	"math/big"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/zap"
	"go.uber.org/zap/zapcore"
	"go.uber.org/zap/zaptest/observer"

	"lightwell/alarms/web"
)

// certify writes a certificate that vouches for itself, and its key, and
// returns it.
func certify(t *testing.T, folder string, serial int64) *x509.Certificate {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(t, err)
	template := &x509.Certificate{
		SerialNumber: big.NewInt(serial), Subject: pkix.Name{CommonName: "noc.example"}, DNSNames: []string{"noc.example"},
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour), IsCA: true, BasicConstraintsValid: true,
	}
	der, err := x509.CreateCertificate(rand.Reader, template, template, key.Public(), key)
	require.NoError(t, err)
	keyDER, err := x509.MarshalPKCS8PrivateKey(key)
	require.NoError(t, err)
	for name, block := range map[string]*pem.Block{"cert.pem": {Type: "CERTIFICATE", Bytes: der}, "key.pem": {Type: "PRIVATE KEY", Bytes: keyDER}} {
		require.NoError(t, os.WriteFile(filepath.Join(folder, name), pem.EncodeToMemory(block), 0o600))
	}
	cert, err := x509.ParseCertificate(der)
	require.NoError(t, err)
	return cert
}

const tlsFile = "tls_server_config:\n  cert_file: cert.pem\n  key_file: key.pem\n"

func webConfig(t *testing.T, folder, text string) string {
	path := filepath.Join(folder, "web.yaml")
	require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
	return path
}

// trusting returns a browser that believes what the certificates vouch for.
func trusting(t *testing.T, certs ...*x509.Certificate) *http.Client {
	pool := x509.NewCertPool()
	for _, c := range certs {
		pool.AddCert(c)
	}
	transport := &http.Transport{TLSClientConfig: &tls.Config{RootCAs: pool, ServerName: "noc.example"}, ForceAttemptHTTP2: true}
	t.Cleanup(transport.CloseIdleConnections)
	return &http.Client{Transport: transport, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
}

func TestTLS(t *testing.T) {
	folder := t.TempDir()
	first := certify(t, folder, 1)
	path := webConfig(t, folder, tlsFile+"http_server_config:\n  headers: {Strict-Transport-Security: max-age=86400}\n")
	s := newStage(t, makeFleet(1, 1), time.Now(), func(c *web.Config) { c.WebConfig = path })
	at := s.serve("127.0.0.1:0")
	require.True(t, strings.HasPrefix(at, "https://127.0.0.1:"))

	browser := trusting(t, first)
	w, err := browser.PostForm(at+"/sign-in", url.Values{"name": {"noc-1"}, "secret": {operateSecret}})
	require.NoError(t, err)
	require.NoError(t, w.Body.Close())
	require.Equal(t, "HTTP/2.0", w.Proto)
	require.Equal(t, "max-age=86400", w.Header.Get("Strict-Transport-Security"), "headers of the file are sent")
	require.Equal(t, "__Host-lightwell", w.Cookies()[0].Name)
	require.True(t, w.Cookies()[0].Secure)

	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	r, err := http.NewRequestWithContext(ctx, "GET", at+"/api/v1/changes", nil)
	require.NoError(t, err)
	r.AddCookie(w.Cookies()[0])
	stream, err := browser.Do(r)
	require.NoError(t, err)
	defer stream.Body.Close()
	begin := make([]byte, 200)
	n, err := io.ReadAtLeast(stream.Body, begin, 30)
	require.NoError(t, err)
	require.Contains(t, string(begin[:n]), "retry:", "the stream works over HTTP/2")

	second := certify(t, folder, 2)
	w, err = trusting(t, second).Get(at + "/healthz")
	require.NoError(t, err, "a new certificate needs no restart")
	require.NoError(t, w.Body.Close())
	require.EqualValues(t, 2, w.TLS.PeerCertificates[0].SerialNumber.Int64())
	_, err = trusting(t, first).Get(at + "/healthz")
	var unknown x509.UnknownAuthorityError
	require.ErrorAs(t, err, &unknown)
	w, err = http.Get("http" + strings.TrimPrefix(at, "https") + "/healthz")
	require.NoError(t, err)
	require.NoError(t, w.Body.Close())
	require.Equal(t, http.StatusBadRequest, w.StatusCode, "no plain HTTP there")
	http.DefaultClient.CloseIdleConnections()
}

func TestWebConfigAtFault(t *testing.T) {
	folder := t.TempDir()
	certify(t, folder, 1)
	for want, text := range map[string]string{
		"":                             tlsFile,
		"tls_server_config is missing": "http_server_config: {http2: false}\n",
		"give each person a token":     tlsFile + "basic_auth_users: {anna: x}\n",
		"no such file":                 strings.Replace(tlsFile, "key.pem", "none.pem", 1),
		"failed to load X509KeyPair":   strings.Replace(tlsFile, "key.pem", "cert.pem", 1),
		"missing one of key":           "tls_server_config: {cert_file: cert.pem}\n",
		"not found in type":            tlsFile + "  colour: red\n",
		"unknown TLS version":          tlsFile + "  min_version: SSL3\n",
	} {
		path := webConfig(t, folder, text)
		err := web.CheckWebConfig(path)
		s := newStage(t, makeFleet(1, 1), time.Now(), func(c *web.Config) { c.WebConfig = path })
		listening := s.server.Listen("127.0.0.1:0")
		s.server.Close()
		if want == "" {
			require.NoError(t, err)
			require.NoError(t, listening)
			continue
		}
		require.ErrorContains(t, err, want)
		require.ErrorContains(t, listening, want)
	}
	require.Error(t, web.CheckWebConfig(filepath.Join(folder, "none.yaml")))
}

// TestWithoutTLSTheLogSaysSo: but only where other machines can listen.
func TestWithoutTLSTheLogSaysSo(t *testing.T) {
	for listen, want := range map[string]int{"127.0.0.1:0": 0, "0.0.0.0:0": 1} {
		core, seen := observer.New(zapcore.WarnLevel)
		s := newStage(t, makeFleet(1, 1), time.Now(), func(c *web.Config) { c.Log = zap.New(core) })
		require.NoError(t, s.server.Listen(listen))
		ctx, stop := context.WithCancel(t.Context())
		ended := make(chan error, 1)
		go func() { ended <- s.server.Run(ctx) }()
		require.Eventually(t, func() bool {
			w, err := http.Get(s.server.URL() + "/healthz")
			return err == nil && w.Body.Close() == nil
		}, 5*time.Second, 10*time.Millisecond)
		http.DefaultClient.CloseIdleConnections()
		stop()
		require.NoError(t, <-ended)
		require.Equal(t, want, seen.FilterMessageSnippet("no TLS").Len(), listen)
	}
}
