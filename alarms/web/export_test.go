package web

import (
	"net/http"

	"github.com/danielgtaylor/huma/v2"
)

// routes records what is registered.
type routes struct {
	*http.ServeMux
	patterns []string
}

func (r *routes) HandleFunc(pattern string, h func(http.ResponseWriter, *http.Request)) {
	r.patterns = append(r.patterns, pattern)
	r.ServeMux.HandleFunc(pattern, h)
}

// Described returns the description of the API and every route of it.
func (s *Server) Described() (*huma.OpenAPI, []string) {
	r := &routes{ServeMux: http.NewServeMux()}
	return s.registerAPI(r).OpenAPI(), r.patterns
}
