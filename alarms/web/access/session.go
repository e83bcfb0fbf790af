package access

import (
	"crypto/rand"
	"net/http"
	"strings"
	"sync"
	"time"
)

// Limits of sessions. A session whose pages are all closed ends after
// SessionIdle, every one after SessionLife. At most maxSessions are kept; a
// further one ends that which was idle longest.
const (
	SessionIdle = 12 * time.Hour
	SessionLife = 7 * 24 * time.Hour
	maxSessions = 1000
)

// A Session is somebody signed in in a browser. The browser has the only copy
// of its id; here is the hash of it.
type Session struct {
	Name  string    `json:"name"`           // of the token
	Token Hash      `json:"token,omitzero"` // of the token's secret: a token that is changed or taken away ends its sessions
	From  string    `json:"from,omitempty"` // address where it began
	Since time.Time `json:"since"`
	Seen  time.Time `json:"seen"`
}

func (s *Session) over(now time.Time) bool {
	return now.Sub(s.Seen) >= SessionIdle || now.Sub(s.Since) >= SessionLife
}

// sessions are those that go on, by the hash of their id.
type sessions struct {
	mu   sync.Mutex
	open map[Hash]*Session
}

// begin keeps a session and returns its id.
func (s *sessions) begin(n Session) string {
	id := rand.Text() + rand.Text() // 256 bits or more
	s.mu.Lock()
	defer s.mu.Unlock()
	if len(s.open) >= maxSessions {
		s.endOne(n.Since)
	}
	s.open[HashOf(id)] = &n
	return id
}

// endOne makes room: it ends those that are over, or else that idle longest.
func (s *sessions) endOne(now time.Time) {
	var longest Hash
	var seen time.Time
	for id, o := range s.open {
		if o.over(now) {
			delete(s.open, id)
		} else if seen.IsZero() || o.Seen.Before(seen) {
			longest, seen = id, o.Seen
		}
	}
	if len(s.open) >= maxSessions {
		delete(s.open, longest)
	}
}

// find returns the session with the id and notes that it was seen.
func (s *sessions) find(id string, now time.Time) (Session, bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	o := s.open[HashOf(id)]
	if o == nil {
		return Session{}, false
	}
	if o.over(now) {
		delete(s.open, HashOf(id))
		return Session{}, false
	}
	if now.After(o.Seen) {
		o.Seen = now
	}
	return *o, true
}

func (s *sessions) end(id string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	delete(s.open, HashOf(id))
}

// Sessions returns the sessions that go on, by the hash of their id.
func (g *Guard) Sessions(now time.Time) map[Hash]Session {
	g.sessions.mu.Lock()
	defer g.sessions.mu.Unlock()
	out := make(map[Hash]Session, len(g.sessions.open))
	for id, o := range g.sessions.open {
		if !o.over(now) {
			out[id] = *o
		}
	}
	return out
}

// Restore gives the Guard the sessions from before a restart; they count as
// seen now.
func (g *Guard) Restore(before map[Hash]Session, now time.Time) {
	g.sessions.mu.Lock()
	defer g.sessions.mu.Unlock()
	for id, o := range before {
		if len(g.sessions.open) < maxSessions {
			o.Seen = now
			g.sessions.open[id] = &o
		}
	}
}

// Begin signs somebody in by the name and secret of a token and returns the
// cookie for the browser. Errors are those of SignIn.
func (g *Guard) Begin(r *http.Request, name, secret string, now time.Time) (*http.Cookie, Person, error) {
	k, err := g.try(r, name, secret, false, now)
	if err != nil {
		return nil, Person{}, err
	}
	g.End(r)
	p := k.person
	p.From, p.Session = address(r).String(), true
	id := g.sessions.begin(Session{Name: p.Name, Token: k.secret, From: p.From, Since: now, Seen: now})
	return cookie(r, id, SessionLife), p, nil
}

// End ends the session of the request, when it has one, and returns the
// cookie that makes the browser forget its own.
func (g *Guard) End(r *http.Request) *http.Cookie {
	if id := sessionID(r); id != "" {
		g.sessions.end(id)
	}
	return cookie(r, "", -1)
}

// resume tells who the session of the request is; ErrEnded when there is none
// any more.
func (g *Guard) resume(r *http.Request, id string, now time.Time) (Person, error) {
	s, ok := g.sessions.find(id, now)
	if !ok {
		return Person{}, ErrEnded
	}
	for _, k := range *g.keys.Load() {
		if k.person.Name == s.Name && k.secret == s.Token {
			p := k.person
			p.From, p.Session = address(r).String(), true
			return p, nil
		}
	}
	g.sessions.end(id)
	return Person{}, ErrEnded
}

// CookieName is the name of the cookie without TLS. A browser takes one with the longer name only over
// TLS, for this host alone and for every path (RFC 6265bis 4.1.3.2).
const (
	CookieName       = "lightwell"
	secureCookieName = "__Host-" + CookieName
)

// cookie makes the cookie of a session. A browser that came through a proxy
// which ends TLS says so in its Origin.
func cookie(r *http.Request, id string, life time.Duration) *http.Cookie {
	c := &http.Cookie{
		Name: CookieName, Value: id, Path: "/", HttpOnly: true, SameSite: http.SameSiteLaxMode,
		MaxAge: int(life.Seconds()),
	}
	if r.TLS != nil || strings.HasPrefix(r.Header.Get("Origin"), "https://") {
		c.Name, c.Secure = secureCookieName, true
	}
	if life < 0 {
		c.MaxAge = -1
	}
	return c
}

// sessionID is what the request has for a session. Over TLS the plain name
// does not count: a page without TLS could have set it.
func sessionID(r *http.Request) string {
	names := []string{secureCookieName, CookieName}
	if r.TLS != nil {
		names = names[:1]
	}
	for _, name := range names {
		if c, err := r.Cookie(name); err == nil && c.Value != "" {
			return c.Value
		}
	}
	return ""
}
