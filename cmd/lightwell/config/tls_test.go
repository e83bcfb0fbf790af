package config_test

import (
	"crypto/ed25519"
	"crypto/rand"
	"crypto/x509"
	"encoding/pem"
	"math/big"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// tlsFiles makes a certificate and the file that names it, and returns the
// path of that.
func tlsFiles(t *testing.T) string {
	folder := t.TempDir()
	public, key, err := ed25519.GenerateKey(rand.Reader)
	require.NoError(t, err)
	template := &x509.Certificate{SerialNumber: big.NewInt(1), DNSNames: []string{"noc.example"}, NotAfter: time.Now().Add(time.Hour)}
	cert, err := x509.CreateCertificate(rand.Reader, template, template, public, key)
	require.NoError(t, err)
	private, err := x509.MarshalPKCS8PrivateKey(key)
	require.NoError(t, err)
	both := append(pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: cert}), pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: private})...)
	require.NoError(t, os.WriteFile(filepath.Join(folder, "both.pem"), both, 0o600))
	path := filepath.Join(folder, "web.yaml")
	require.NoError(t, os.WriteFile(path, []byte("tls_server_config: {cert_file: both.pem, key_file: both.pem}\n"), 0o600))
	return path
}

func TestWebConfig(t *testing.T) {
	path := tlsFiles(t)
	cfg, err := load(t, "web_config: "+path)
	require.NoError(t, err)
	require.Equal(t, path, cfg.WebConfig)

	require.NoError(t, os.WriteFile(path, []byte("tls_server_config: {cert_file: both.pem, key_file: both.pem}\nbasic_auth_users: {anna: x}\n"), 0o600))
	_, err = load(t, "web_config: "+path)
	require.ErrorContains(t, err, "web.yaml:2:", "the fault is found where it is")
	_, err = load(t, "web_config: none.yaml")
	require.ErrorContains(t, err, "none.yaml")
	require.NoError(t, os.Remove(filepath.Join(filepath.Dir(path), "both.pem")))
	require.NoError(t, os.WriteFile(path, []byte("tls_server_config: {cert_file: both.pem, key_file: both.pem}\n"), 0o600))
	_, err = load(t, "web_config: "+path)
	require.ErrorContains(t, err, "lightwell.yaml:3:", "a certificate that cannot be read is reported where the file is named")
}
