package web

import (
	"context"
	"errors"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"lightwell/alarms/web/access"
	"lightwell/collector/backup"
	"lightwell/collector/state"
)

// Backups makes archives of what the daemon keeps.
type Backups interface {
	Ask() error
	Status() (backup.Status, error)
}

func (s *Server) registerBackups(api huma.API) {
	if s.cfg.Backups == nil {
		return
	}
	list := s.operation(api, access.Administer, http.MethodGet, "/backups", "backups", "Archives of state and history, and how the last one went")
	huma.Register(api, list, func(context.Context, *struct{}) (*answer[backup.Status], error) {
		status, err := s.cfg.Backups.Status()
		if err != nil {
			return nil, huma.Error500InternalServerError(err.Error())
		}
		return &answer[backup.Status]{status}, nil
	})
	ask := s.operation(api, access.Administer, http.MethodPost, "/backup", "backup", "Make an archive on the machine of the daemon, soon", http.StatusConflict)
	ask.DefaultStatus = http.StatusAccepted
	huma.Register(api, ask, func(ctx context.Context, _ *struct{}) (*answer[backup.Status], error) {
		if err := s.cfg.Backups.Ask(); errors.Is(err, backup.ErrRunning) {
			return nil, huma.Error409Conflict(err.Error())
		} else if err != nil {
			return nil, huma.Error500InternalServerError(err.Error())
		}
		if who := access.Who(ctx); s.cfg.Journal != nil {
			s.cfg.Journal.Record(state.AuditRow{Time: time.Now(), Who: who.Name, From: who.From, What: "backup", Detail: "asked for a backup"})
		}
		status, err := s.cfg.Backups.Status()
		if err != nil {
			return nil, huma.Error500InternalServerError(err.Error())
		}
		return &answer[backup.Status]{status}, nil
	})
}
