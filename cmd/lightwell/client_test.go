package main

import (
	"encoding/pem"
	"errors"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
	"go.uber.org/zap"

	"lightwell/cmd/exit"
)

func TestServerWithTLS(t *testing.T) {
	server := httptest.NewUnstartedServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { _, _ = io.WriteString(w, "alive\n") }))
	quiet, err := zap.NewStdLogAt(zap.NewNop(), zap.DebugLevel)
	require.NoError(t, err)
	server.Config.ErrorLog = quiet
	server.StartTLS()
	defer server.Close()
	folder := t.TempDir()
	ca, junk := filepath.Join(folder, "ca.pem"), filepath.Join(folder, "junk.pem")
	require.NoError(t, os.WriteFile(ca, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: server.Certificate().Raw}), 0o600))
	require.NoError(t, os.WriteFile(junk, []byte("junk"), 0o600))
	plain := httptest.NewServer(server.Config.Handler)
	defer plain.Close()

	for name, c := range map[string]struct {
		args       []string
		want, hint string
	}{
		"vouched for":        {[]string{"--server", server.URL, "--ca", ca}, "", ""},
		"by its name":        {[]string{"--server", server.URL, "--ca", ca, "--tls-name", "example.com"}, "", ""},
		"nobody vouches":     {[]string{"--server", server.URL}, "certificate signed by unknown authority", "--ca"},
		"another name":       {[]string{"--server", server.URL, "--ca", ca, "--tls-name", "noc.test"}, "not noc.test", "--tls-name"},
		"no certificates":    {[]string{"--server", server.URL, "--ca", junk}, "holds none in PEM form", ""},
		"no file":            {[]string{"--server", server.URL, "--ca", filepath.Join(folder, "none")}, "no such file", ""},
		"no TLS there":       {[]string{"--server", "https" + plain.URL[len("http"):]}, "HTTP response to HTTPS client", "write http://"},
		"plain HTTP as ever": {[]string{"--server", plain.URL}, "", ""},
	} {
		t.Run(name, func(t *testing.T) {
			_, _, err := typed(t.Context(), append([]string{"health"}, c.args...)...)
			if c.want == "" {
				require.NoError(t, err)
				return
			}
			require.ErrorContains(t, err, c.want)
			var hinted exit.HintedError
			if errors.As(err, &hinted) || c.hint != "" {
				require.Contains(t, hinted.Hint, c.hint)
			}
		})
	}
}
