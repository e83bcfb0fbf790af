package daemon

import (
	"context"

	"lightwell/alarms/web"
	"lightwell/alarms/web/access"
)

// sessionsDocument holds the sessions of browsers, by the hash of their id.
const sessionsDocument = "sessions"

// sessions keeps the sessions of browsers in the state.
type sessions struct{ *keeper }

var _ web.SessionStore = sessions{}

// SaveSessions implements web.SessionStore.
func (s sessions) SaveSessions(open map[access.Hash]access.Session) error {
	return s.write(func(ctx context.Context) error { return s.store.Save(ctx, sessionsDocument, open) })
}

// Sessions implements web.SessionStore.
func (s sessions) Sessions() (open map[access.Hash]access.Session, err error) {
	ctx, cancel := context.WithTimeout(s.life, readTimeout)
	defer cancel()
	_, err = s.store.Load(ctx, sessionsDocument, &open)
	return open, err
}
