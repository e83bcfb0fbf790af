package web

import (
	"context"

	"github.com/danielgtaylor/huma/v2"

	"lightwell/alarms/web/access"
)

// Myself is who asks.
type Myself struct {
	Name string      `json:"name" doc:"Of the token; what you do is recorded under it."`
	Role access.Role `json:"role" enum:"see,operate,commission,administer"`
	From string      `json:"from,omitempty" doc:"Address that you come from."`
}

func (s *Server) registerMe(api huma.API) {
	read(s, api, "/me", "me", "Who asks, and what they may", func(ctx context.Context, _ *struct{}) (*answer[Myself], error) {
		who := access.Who(ctx)
		return &answer[Myself]{Myself{who.Name, who.Role, who.From}}, nil
	})
}
