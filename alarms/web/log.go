package web

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"go.uber.org/zap"

	"lightwell/alarms"
	"lightwell/alarms/web/access"
	"lightwell/collector/state"
)

// LogLine is one line of the log of changes: what happened to an alarm, or
// what somebody did beside the alarm list.
type LogLine struct {
	Entry    uint64        `json:"entry" doc:"Place in the log; rises with time."`
	Time     time.Time     `json:"time"`
	Kind     string        `json:"kind"`
	Operator string        `json:"operator,omitempty" doc:"Who; missing where it was no person."`
	From     string        `json:"from,omitempty" doc:"From where."`
	Text     string        `json:"text,omitempty" doc:"What they said, or what was done."`
	Site     string        `json:"site,omitempty"`
	AlarmID  string        `json:"alarm_id,omitempty"`
	Seq      uint64        `json:"seq,omitempty" doc:"Number of the change of the alarm list; webhooks have it as sequence."`
	Alarm    *alarms.Brief `json:"alarm,omitempty" doc:"The alarm after the change."`
}

// logFilter is the query of the log.
type logFilter struct {
	Alarm  string    `query:"alarm" maxLength:"200" doc:"Id of an alarm."`
	Site   string    `query:"site" maxLength:"200"`
	Since  time.Time `query:"since" doc:"Not before this time."`
	Before string    `query:"after" maxLength:"20" pattern:"^[0-9]*$" doc:"Value of next of the page before."`
	Limit  int       `query:"limit" minimum:"1" maximum:"1000" default:"100" doc:"Most lines wanted."`
}

// logPage is a page of the log; how long the log is, nobody counts.
type logPage struct {
	Items []LogLine `json:"items"`
	Next  string    `json:"next,omitempty" doc:"Value of after for the page with older lines; missing at the end."`
}

func (s *Server) registerLog(api huma.API) {
	if s.cfg.Journal == nil {
		return
	}
	read(s, api, "/log", "log", "Changes of alarms, what people did and when, and reloads; newest first", func(ctx context.Context, in *logFilter) (*answer[logPage], error) {
		before, err := strconv.ParseUint("0"+in.Before, 10, 64)
		if err != nil {
			return nil, huma.Error422UnprocessableEntity("after is not a value that this server gave")
		}
		rows, err := s.cfg.Journal.Changes(ctx, state.Filter{Alarm: in.Alarm, Site: in.Site, Since: in.Since, Before: before, Limit: in.Limit + 1})
		if err != nil {
			return nil, s.failed(fmt.Errorf("%w (%w)", errNoLog, err))
		}
		page := logPage{Items: []LogLine{}}
		for _, r := range rows[:min(len(rows), in.Limit)] {
			page.Items = append(page.Items, s.logLine(r))
		}
		if len(rows) > in.Limit {
			page.Next = strconv.FormatUint(rows[in.Limit-1].Entry, 10)
		}
		return &answer[logPage]{page}, nil
	})
}

func (s *Server) logLine(r state.ChangeRow) LogLine {
	line := LogLine{
		Entry: r.Entry, Time: r.Time.UTC(), Kind: r.Kind, Operator: r.Operator, From: r.From, Text: r.Text,
		Site: r.Site, AlarmID: r.AlarmID, Seq: r.Seq,
	}
	if r.AlarmID != "" && len(r.Body) > 0 {
		line.Alarm = &alarms.Brief{}
		if err := json.Unmarshal(r.Body, line.Alarm); err != nil {
			s.cfg.Log.Error("read log of changes", zap.Uint64("entry", r.Entry), zap.Error(err))
			line.Alarm = nil
		}
	}
	return line
}

// record writes what a person did into the log of changes.
func (s *Server) record(by access.Person, what, detail, site string) {
	s.cfg.Log.Info(what, zap.String("by", by.Name), zap.String("from", by.From), zap.String("detail", detail))
	if s.cfg.Journal != nil {
		s.cfg.Journal.Record(state.AuditRow{Time: time.Now(), Who: by.Name, From: by.From, What: what, Detail: detail, Site: site})
	}
}

// recordUnits writes a line for each site that the units are of.
func (s *Server) recordUnits(by access.Person, what string, units []string, reason string) {
	fleet := s.cfg.Fleet()
	at := map[string][]string{}
	for _, id := range units {
		u, _ := fleet.Unit(id)
		at[u.Site] = append(at[u.Site], "unit/"+id)
	}
	for site, of := range at {
		slices.Sort(of)
		detail := strings.Join(of, ", ")
		if reason != "" {
			detail += ": " + reason
		}
		s.record(by, what, detail, site)
	}
}
