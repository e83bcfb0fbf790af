package web

import (
	"encoding/json"
	"net/http"
	"runtime/debug"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"go.uber.org/zap"

	"lightwell/alarms/web/access"
)

// policy lets the page load from this server only; no inline script or style,
// no frame around it, no form that sends elsewhere.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; " +
	"form-action 'self'; base-uri 'none'; frame-ancestors 'none'"

func (s *Server) routes() http.Handler {
	inner := http.NewServeMux()
	s.registerPages(inner)
	s.registerAPI(inner)
	s.inner = inner

	origin := http.NewCrossOriginProtection()
	origin.SetDenyHandler(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		s.problem(w, r, http.StatusForbidden, "the request comes from a page of another site")
	}))
	ours := func(h http.Handler) http.Handler { return s.namedHost(origin.Handler(h)) }

	outer := http.NewServeMux()
	outer.HandleFunc("GET /healthz", func(w http.ResponseWriter, _ *http.Request) { plain(w, http.StatusOK, "alive\n") })
	outer.HandleFunc("GET /readyz", s.ready)
	outer.Handle("GET /assets/{name}", ours(http.HandlerFunc(s.asset)))
	outer.Handle("GET /sign-in", ours(http.HandlerFunc(s.showSignIn)))
	outer.Handle("POST /sign-in", ours(http.HandlerFunc(s.signIn)))
	outer.Handle("POST /sign-out", ours(http.HandlerFunc(s.signOut)))
	outer.Handle("/", ours(s.signedIn(labelled(s.answered(inner)))))
	if m := s.cfg.Metrics; m != nil && s.cfg.MetricsOpen {
		outer.Handle("GET /metrics", m)
	} else if m != nil {
		outer.Handle("GET /metrics", s.namedHost(s.signedIn(m)))
	}
	return s.kept(outer)
}

// kept sets the headers that every answer has, and turns a panic into an
// answer and a line in the log.
func (s *Server) kept(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cache-Control", "no-store")
		defer func() {
			if fault := recover(); fault != nil {
				if fault == http.ErrAbortHandler {
					panic(fault)
				}
				s.cfg.Log.Error("request handler panicked", zap.Any("err", fault), zap.String("path", r.URL.Path), zap.ByteString("stack", debug.Stack()))
				s.problem(w, r, http.StatusInternalServerError, "something went wrong here; the log says what")
			}
		}()
		r.Body = http.MaxBytesReader(w, r.Body, maxBody)
		next.ServeHTTP(w, r)
	})
}

func (s *Server) namedHost(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if !s.guard.HostAllowed(r.Host) {
			s.problem(w, r, http.StatusMisdirectedRequest, "this server is not known by the name in the request; use localhost, or add the name to the configuration")
			return
		}
		next.ServeHTTP(w, r)
	})
}

func (s *Server) signedIn(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		who, err := s.guard.SignIn(r, time.Now())
		if err != nil {
			v := signInView{}
			if r.Method == http.MethodGet {
				v.To = r.URL.RequestURI()
			}
			s.refuse(w, r, err, v)
			return
		}
		next.ServeHTTP(w, r.WithContext(access.WithPerson(r.Context(), who)))
	})
}

// answered gives unknown paths and wrong methods an answer in the form of
// their surroundings.
func (s *Server) answered(mux *http.ServeMux) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h, pattern := mux.Handler(r)
		if pattern != "" {
			mux.ServeHTTP(w, r)
			return
		}
		verdict := statusOnly{header: http.Header{}}
		h.ServeHTTP(&verdict, r)
		if verdict.status == http.StatusMethodNotAllowed {
			w.Header().Set("Allow", verdict.header.Get("Allow"))
			s.problem(w, r, verdict.status, "this address does not take the method "+r.Method)
			return
		}
		s.problem(w, r, http.StatusNotFound, "there is nothing at this address")
	})
}

type statusOnly struct {
	header http.Header
	status int
}

func (s *statusOnly) Header() http.Header         { return s.header }
func (s *statusOnly) WriteHeader(status int)      { s.status = status }
func (s *statusOnly) Write(b []byte) (int, error) { return len(b), nil }

// need wraps a handler that only people with a role may use.
func (s *Server) need(role access.Role, next http.HandlerFunc) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		if who := access.Who(r.Context()); !who.Role.May(role) {
			s.problem(w, r, http.StatusForbidden, refusal(who, role))
			return
		}
		next(w, r)
	}
}

func refusal(who access.Person, role access.Role) string {
	return who.Name + " may " + who.Role.String() + "; this needs the role " + role.String()
}

func isAPI(r *http.Request) bool { return strings.HasPrefix(r.URL.Path, "/api/") }

// problem answers with an error: as RFC 9457 says under /api, else as a page.
func (s *Server) problem(w http.ResponseWriter, r *http.Request, status int, detail string) {
	if !isAPI(r) {
		s.problemPage(w, r, status, detail)
		return
	}
	w.Header().Set("Content-Type", "application/problem+json")
	w.WriteHeader(status)
	_ = json.NewEncoder(w).Encode(&huma.ErrorModel{Title: http.StatusText(status), Status: status, Detail: detail})
}

func (s *Server) ready(w http.ResponseWriter, _ *http.Request) {
	if s.cfg.Ready != nil {
		if err := s.cfg.Ready(); err != nil {
			plain(w, http.StatusServiceUnavailable, "not ready: "+err.Error()+"\n")
			return
		}
	}
	plain(w, http.StatusOK, "ready\n")
}

func plain(w http.ResponseWriter, status int, text string) {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	w.WriteHeader(status)
	_, _ = w.Write([]byte(text))
}
