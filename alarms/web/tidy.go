package web

import (
	"context"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"lightwell/alarms"
	"lightwell/alarms/web/access"
)

// Tidying says which alarms to purge or compress: those that fit every
// criterion given (RFC 8632, purge-alarms and compress-alarms).
type Tidying struct {
	Clearance     alarms.Clearance     `json:"clearance,omitempty" enum:"cleared,not-cleared,any" default:"cleared" doc:"An active alarm that is purged comes back when its rule judges it next."`
	ChangedBefore time.Time            `json:"changed_before,omitzero" doc:"Last changed before this time."`
	Below         string               `json:"below,omitempty" enum:"minor,major,critical" doc:"Severity strictly below this."`
	Operator      alarms.OperatorState `json:"operator_state,omitempty" enum:"none,ack,closed,shelved,un-shelved"`
	Site          string               `json:"site,omitempty" maxLength:"200"`
	Resource      string               `json:"resource,omitempty" maxLength:"200" doc:"This resource and all below it, such as unit/ID."`
	Type          string               `json:"type,omitempty" maxLength:"200"`
	Text          string               `json:"text,omitempty" maxLength:"1000" doc:"Kept with the action."`
}

func (t *Tidying) filter() alarms.Filter {
	f := alarms.Filter{
		Clearance: t.Clearance, ChangedBefore: t.ChangedBefore, Operator: t.Operator, Site: t.Site, Resource: t.Resource, Type: t.Type,
	}
	if f.Clearance == "" {
		f.Clearance = alarms.ClearanceCleared
	}
	f.Below, _ = alarms.ParseSeverity(t.Below) // the schema lets no other word pass
	return f
}

// Tidied tells how many alarms were purged or compressed.
type Tidied struct {
	Alarms int `json:"alarms"`
}

// NewShelf is a shelf as a person makes one.
type NewShelf struct {
	Name      string    `json:"name" minLength:"1" maxLength:"100"`
	Site      string    `json:"site,omitempty" maxLength:"200"`
	Resource  string    `json:"resource,omitempty" maxLength:"200" doc:"This resource and all below it, such as unit/ID."`
	Type      string    `json:"type,omitempty" maxLength:"200"`
	Qualifier string    `json:"qualifier,omitempty" maxLength:"200"`
	Until     time.Time `json:"until" doc:"When its alarms return by themselves; at most 30 days ahead."`
	Text      string    `json:"text,omitempty" maxLength:"1000" doc:"Why."`
}

func (s *Server) registerTidying(api huma.API) {
	type input struct{ Body Tidying }
	for do, a := range map[string]struct {
		summary string
		run     func(alarms.Filter, alarms.Operation) (int, error)
	}{
		"purge":    {"Remove alarms from the list; without criteria those that have cleared", s.cfg.Alarms.Purge},
		"compress": {"Forget all status changes of alarms but the latest", s.cfg.Alarms.Compress},
	} {
		write(s, api, access.Administer, "/alarms/"+do, "alarms-"+do, a.summary, func(ctx context.Context, in *input) (*answer[Tidied], error) {
			n, err := a.run(in.Body.filter(), operation(ctx, in.Body.Text))
			if err != nil {
				return nil, s.failed(err)
			}
			s.hub.changed()
			return &answer[Tidied]{Tidied{n}}, nil
		})
	}
	s.registerShelves(api)
}

// operation is what the person who asks does.
func operation(ctx context.Context, text string) alarms.Operation {
	who := access.Who(ctx)
	return alarms.Operation{Operator: who.Name, From: who.From, Text: text, Now: time.Now()}
}

func (s *Server) registerShelves(api huma.API) {
	read(s, api, "/shelves", "shelves", "Shelves that take every alarm that fits their criteria", func(_ context.Context, in *Paging) (*listed[alarms.Shelf], error) {
		return cut(s.cfg.Alarms.Shelves(), *in, func(shelf alarms.Shelf) string { return shelf.Name })
	})
	type shelfInput struct{ Body NewShelf }
	write(s, api, access.Operate, "/shelves", "shelf-put", "Add a shelf, or put one in the place of that with its name", func(ctx context.Context, in *shelfInput) (*answer[paged[alarms.Shelf]], error) {
		n := in.Body
		shelf := alarms.Shelf{Name: n.Name, Site: n.Site, Resource: n.Resource, Type: n.Type, Qualifier: n.Qualifier, Until: n.Until, Text: n.Text}
		if err := s.cfg.Alarms.PutShelf(shelf, operation(ctx, n.Text)); err != nil {
			return nil, s.failed(err)
		}
		s.hub.changed()
		s.record(access.Who(ctx), "shelf-put", n.Name+" until "+n.Until.UTC().Format(time.RFC3339), n.Site)
		return s.shelves(), nil
	})
	write(s, api, access.Operate, "/shelves/{id}/remove", "shelf-remove", "Take a shelf away; its alarms return", func(ctx context.Context, in *note) (*answer[paged[alarms.Shelf]], error) {
		text := ""
		if in.Body != nil {
			text = in.Body.Text
		}
		if err := s.cfg.Alarms.RemoveShelf(in.ID, operation(ctx, text)); err != nil {
			return nil, s.failed(err)
		}
		s.hub.changed()
		s.record(access.Who(ctx), "shelf-removed", in.ID, "")
		return s.shelves(), nil
	})
}

func (s *Server) shelves() *answer[paged[alarms.Shelf]] {
	items := append([]alarms.Shelf{}, s.cfg.Alarms.Shelves()...)
	return &answer[paged[alarms.Shelf]]{paged[alarms.Shelf]{Items: items, Total: len(items)}}
}
