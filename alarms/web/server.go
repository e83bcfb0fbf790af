package web

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"strconv"
	"time"

	"go.uber.org/zap"
	"golang.org/x/sync/errgroup"

	"lightwell/alarms/web/access"
)

// Limits of the server.
const (
	headerTimeout = 10 * time.Second
	bodyTimeout   = 30 * time.Second
	writeTimeout  = 30 * time.Second
	stopTimeout   = 5 * time.Second // for answers under way at the end
	maxBody       = 64 << 10
	maxHeader     = 32 << 10
)

// Server serves the page and the API. Make one with New, then Listen, then
// Run.
type Server struct {
	cfg      Config
	guard    *access.Guard
	hub      *hub
	boards   boards
	gallery  gallery
	inner    *http.ServeMux // of those signed in
	handler  http.Handler
	listener net.Listener
}

// New makes a server. It opens nothing and starts nothing.
func New(cfg Config) (*Server, error) {
	guard, err := access.NewGuard(cfg.Tokens, cfg.Hosts)
	if err != nil {
		return nil, fmt.Errorf("web tokens: %w", err)
	}
	s := &Server{cfg: cfg, guard: guard, hub: newHub(strconv.FormatInt(time.Now().UnixMilli(), 36))}
	s.restoreSessions()
	s.handler = s.routes()
	return s, nil
}

// ServeHTTP answers one request; Run serves with it.
func (s *Server) ServeHTTP(w http.ResponseWriter, r *http.Request) { s.handler.ServeHTTP(w, r) }

// Listen opens the address, so that a port in use is an error before anything
// else starts. It refuses what Config.Validate refuses.
func (s *Server) Listen(addr string) error {
	if err := s.cfg.Validate(addr); err != nil {
		return err
	}
	if s.cfg.WebConfig != "" {
		if err := CheckWebConfig(s.cfg.WebConfig); err != nil {
			return fmt.Errorf("set up TLS: %w", err)
		}
	}
	l, err := net.Listen("tcp", addr)
	if err != nil {
		return fmt.Errorf("listen for page and API: %w", err)
	}
	s.listener = l
	return nil
}

// URL is the address of the page once Listen has returned.
func (s *Server) URL() string {
	if s.cfg.WebConfig != "" {
		return "https://" + s.addr()
	}
	return "http://" + s.addr()
}

// addr is where the server listens; this machine before Listen.
func (s *Server) addr() string {
	if s.listener == nil {
		return "localhost:0"
	}
	return s.listener.Addr().String()
}

// Close frees the listener, for when Run is not called. It is safe after Run.
func (s *Server) Close() {
	if s.listener != nil {
		_ = s.listener.Close() // closed already after Run
	}
}

// Run serves until ctx ends, then lets answers under way finish, and closes
// the listener. Open streams of changes end at once.
func (s *Server) Run(ctx context.Context) error {
	if s.listener == nil {
		return errors.New("serve page and API: Listen was not called")
	}
	group, ctx := errgroup.WithContext(ctx)
	logger, _ := zap.NewStdLogAt(s.cfg.Log, zap.DebugLevel)
	hs := &http.Server{
		Handler: s, ReadHeaderTimeout: headerTimeout, ReadTimeout: bodyTimeout, WriteTimeout: writeTimeout,
		IdleTimeout: 2 * time.Minute, MaxHeaderBytes: maxHeader, ErrorLog: logger,
		BaseContext: func(net.Listener) context.Context { return ctx },
	}
	group.Go(func() error { return s.hub.run(ctx, s.cfg.Engine.Subscribe) })
	group.Go(func() error { return s.serve(hs) })
	group.Go(func() error {
		<-ctx.Done()
		bounded, cancel := context.WithTimeout(context.WithoutCancel(ctx), stopTimeout)
		defer cancel()
		if err := hs.Shutdown(bounded); err != nil {
			s.cfg.Log.Warn("answers under way were cut off", zap.Error(err))
			return hs.Close()
		}
		return nil
	})
	return group.Wait()
}

// version names the state of everything that a page can show. Another
// process, or the same one after a restart, never gives the same name.
func (s *Server) version() string {
	return s.hub.version(s.cfg.Engine.Version())
}
