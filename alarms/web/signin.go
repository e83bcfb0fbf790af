package web

import (
	"errors"
	"fmt"
	"net/http"
	"strconv"
	"time"

	"go.uber.org/zap"

	"lightwell/alarms/web/access"
)

// SessionStore keeps the sessions of browsers over a restart.
type SessionStore interface {
	SaveSessions(map[access.Hash]access.Session) error
	Sessions() (map[access.Hash]access.Session, error)
}

// restoreSessions takes up the sessions from before a restart. Without them
// people sign in again, which is no reason not to start.
func (s *Server) restoreSessions() {
	if s.cfg.Sessions == nil {
		return
	}
	before, err := s.cfg.Sessions.Sessions()
	if err != nil {
		s.cfg.Log.Error("read sessions of browsers: people must sign in again", zap.Error(err))
		return
	}
	s.guard.Restore(before, time.Now())
}

func (s *Server) saveSessions() {
	if s.cfg.Sessions == nil {
		return
	}
	if err := s.cfg.Sessions.SaveSessions(s.guard.Sessions(time.Now())); err != nil {
		s.cfg.Log.Error("keep sessions of browsers: a restart will sign them out", zap.Error(err))
	}
}

// CheckTokens tells why SetTokens would refuse the tokens.
func (s *Server) CheckTokens(tokens []access.Token) error {
	return Config{Tokens: tokens}.Validate(s.addr())
}

// SetTokens puts other tokens in force, or none when one is at fault.
// Sessions of tokens that are gone or changed end.
func (s *Server) SetTokens(tokens []access.Token) error {
	if err := s.CheckTokens(tokens); err != nil {
		return err
	}
	return s.guard.SetTokens(tokens)
}

// signInView is what the page for signing in shows.
type signInView struct {
	Note string // what went wrong; empty: nothing
	Name string
	To   string // where to go then
}

func (s *Server) signInPage(w http.ResponseWriter, r *http.Request, status int, v signInView) {
	if !local(v.To) {
		v.To = "/"
	}
	w.Header().Add("Vary", "Cookie")
	s.render(w, r, status, "signin", &frame{Title: "Sign in", Now: time.Now(), Page: v})
}

// showSignIn answers whoever comes to sign in.
func (s *Server) showSignIn(w http.ResponseWriter, r *http.Request) {
	to := r.URL.Query().Get("to")
	if _, err := s.guard.SignIn(r, time.Now()); err == nil {
		if !local(to) {
			to = "/"
		}
		http.Redirect(w, r, to, http.StatusSeeOther)
		return
	}
	s.signInPage(w, r, http.StatusOK, signInView{To: to})
}

// signIn takes the form of the page for signing in.
func (s *Server) signIn(w http.ResponseWriter, r *http.Request) {
	v := signInView{Name: r.PostFormValue("name"), To: r.PostFormValue("to")}
	if !local(v.To) {
		v.To = "/"
	}
	if s.guard.Open() {
		http.Redirect(w, r, v.To, http.StatusSeeOther)
		return
	}
	cookie, who, err := s.guard.Begin(r, v.Name, r.PostFormValue("secret"), time.Now())
	if err != nil {
		s.refuse(w, r, err, v)
		return
	}
	http.SetCookie(w, cookie)
	s.saveSessions()
	s.record(who, "signed-in", "in a browser", "")
	http.Redirect(w, r, v.To, http.StatusSeeOther)
}

func (s *Server) signOut(w http.ResponseWriter, r *http.Request) {
	who, err := s.guard.SignIn(r, time.Now())
	http.SetCookie(w, s.guard.End(r))
	s.saveSessions()
	if err == nil && who.Session {
		s.record(who, "signed-out", "", "")
	}
	http.Redirect(w, r, "/sign-in", http.StatusSeeOther)
}

// refuse answers a request that could not be signed in: a browser gets the
// page for signing in, in the place of what it asked for.
func (s *Server) refuse(w http.ResponseWriter, r *http.Request, err error, v signInView) {
	s.noteRefusal(r, err)
	status := http.StatusUnauthorized
	if errors.Is(err, access.ErrTooMany) {
		status = http.StatusTooManyRequests
		w.Header().Set("Retry-After", strconv.Itoa(int(access.FailureWindow.Seconds())))
	} else {
		w.Header().Set("WWW-Authenticate", `Bearer realm="Lightwell"`)
	}
	if isAPI(r) || r.URL.Path == "/metrics" {
		s.problem(w, r, status, err.Error()+"; sign in with the secret of a token")
		return
	}
	switch {
	case errors.Is(err, access.ErrNoCredentials) && r.Method == http.MethodGet:
	case errors.Is(err, access.ErrNoCredentials), errors.Is(err, access.ErrEnded) && r.Method != http.MethodGet:
		v.Note = "You are not signed in any more, so nothing was done. Sign in, and do it again."
	case errors.Is(err, access.ErrTooMany):
		v.Note = sentence(err.Error()) + " Wait a minute and try again."
	default:
		v.Note = sentence(err.Error())
	}
	s.signInPage(w, r, status, v)
}

// noteRefusal keeps what may be somebody guessing. The log of changes gets one
// line for all failures of an address within a minute.
func (s *Server) noteRefusal(r *http.Request, err error) {
	if !errors.Is(err, access.ErrUnknown) {
		return
	}
	from := access.Address(r)
	s.cfg.Log.Warn("sign-in refused", zap.String("from", from), zap.String("path", r.URL.Path))
	if errors.Is(err, access.ErrBlocked) {
		s.record(access.Person{Name: "daemon", From: from}, "sign-in-blocked",
			fmt.Sprintf("%d failed sign-ins; the address is not heard for a minute", access.MaxFailures), "")
	}
}
