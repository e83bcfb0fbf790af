package web

import (
	"sync"
	"time"

	"lightwell/alarms"
	"lightwell/alarms/web/view"
)

// boardAge is how long a board may stand for a state that does not change:
// planned work begins and ends by the clock.
const boardAge = time.Second

// boards keeps the board of the newest state, which all readers share.
type boards struct {
	mu      sync.Mutex
	version string
	board   *view.Board
}

// board returns what is known now, made once for each state.
func (s *Server) board(now time.Time) *view.Board {
	b := &s.boards
	b.mu.Lock()
	defer b.mu.Unlock()
	version := s.version() // before anything is read: never newer than what is read
	if b.board == nil || b.version != version || now.Sub(b.board.Now).Abs() > boardAge {
		b.board, b.version = view.NewBoard(s.snapshot(now)), version
	}
	return b.board
}

func (s *Server) snapshot(now time.Time) view.Snapshot {
	out := view.Snapshot{
		Now: now, Fleet: s.cfg.Fleet(), Units: s.cfg.Engine.Units(),
		Alarms:   s.cfg.Alarms.Alarms(alarms.Filter{Shelving: alarms.ShelvingAny}),
		Baseline: s.cfg.Baselines.State, Findings: s.cfg.Engine.Findings,
	}
	if s.cfg.Calendar != nil {
		out.During = s.cfg.Calendar.During
	}
	return out
}
