package web

import (
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"

	toolkit "github.com/prometheus/exporter-toolkit/web"
	"go.uber.org/zap"
	"go.uber.org/zap/zapio"

	file "lightwell/collector/document"
)

// CheckWebConfig tells what is wrong with the file that sets up TLS, in the
// form of the exporter toolkit, and with the certificate that it names. Users
// in it are refused: who may come in is decided by tokens, and both would want
// the same header.
func CheckWebConfig(path string) error {
	doc, faults := file.Read(path)
	if err := faults.Err(); err != nil {
		return err
	}
	if doc.Has("$.basic_auth_users") {
		faults = append(faults, doc.Fault("$.basic_auth_users", "take them out and give each person a token", "users with passwords are not known here"))
	}
	if !doc.Has("$.tls_server_config") {
		faults = append(faults, doc.Fault("$", "name cert_file and key_file there", "tls_server_config is missing"))
	}
	if err := faults.Err(); err != nil {
		return err
	}
	if err := toolkit.Validate(path); err != nil {
		return fmt.Errorf("%s: %w", path, err)
	}
	return nil
}

// serve answers requests until the server is shut down. The certificate is
// read anew for each connection, so that a new one needs no restart.
func (s *Server) serve(hs *http.Server) error {
	err := s.serveAs(hs)
	if errors.Is(err, http.ErrServerClosed) {
		return nil
	}
	return fmt.Errorf("serve page and API: %w", err)
}

func (s *Server) serveAs(hs *http.Server) error {
	if s.cfg.WebConfig == "" {
		if host, _, err := net.SplitHostPort(s.addr()); err == nil && !loopback(host) {
			s.cfg.Log.Warn("no TLS: secrets and alarms pass in the clear to other machines; set web_config, or have a proxy do it", zap.String("listen", s.addr()))
		}
		return hs.Serve(s.listener)
	}
	out := &zapio.Writer{Log: s.cfg.Log.Named("tls"), Level: zap.WarnLevel}
	defer out.Close()
	log := slog.New(slog.NewTextHandler(out, &slog.HandlerOptions{Level: slog.LevelWarn}))
	return toolkit.Serve(s.listener, hs, &toolkit.FlagConfig{WebConfigFile: &s.cfg.WebConfig}, log)
}
