package web_test

import (
	"encoding/json"
	"go/ast"
	"go/parser"
	"go/token"
	"net/http"
	"os"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/stretchr/testify/require"

	"lightwell/alarms/web"
	"lightwell/collector/history"
)

// whole is a server with every optional source, of which some are only names:
// it can be described, and not asked for everything.
func whole(t *testing.T) *stage {
	s := newStage(t, makeFleet(2, 2), time.Now(), func(c *web.Config) {
		withJournal(&hooks{}, &journal{})(c)
		c.Visits, c.History, c.Backups = struct{ web.Visits }{}, struct{ history.Source }{}, struct{ web.Backups }{}
	})
	s.trouble(time.Now())
	return s
}

// TestDescriptionListsEveryRoute: what the server answers under /api/v1 is
// what its description says, no more and no less.
func TestDescriptionListsEveryRoute(t *testing.T) {
	s := whole(t)
	doc, patterns := s.server.Described()
	var described, served []string
	for path, item := range doc.Paths {
		for method, op := range map[string]*huma.Operation{"GET": item.Get, "POST": item.Post, "PUT": item.Put, "DELETE": item.Delete, "PATCH": item.Patch} {
			if op != nil {
				described = append(described, method+" "+path)
			}
		}
	}
	for _, p := range patterns {
		if strings.Contains(p, " /api/v1") {
			served = append(served, p)
		}
	}
	require.Greater(t, len(served), 40)
	require.ElementsMatch(t, served, described)
}

// forms are the ways in which the page changes something, each with its
// counterpart of the API. Signing in and out is the browser's own matter.
var forms = map[string][]string{
	"POST /alarms/{id}": {
		"/api/v1/alarms/{id}/acknowledge", "/api/v1/alarms/{id}/close", "/api/v1/alarms/{id}/reopen", "/api/v1/alarms/{id}/comment",
		"/api/v1/alarms/{id}/shelve", "/api/v1/alarms/{id}/unshelve",
	},
	"POST /alarms":                {"/api/v1/alarms/actions"},
	"POST /units/{id}/poll":       {"/api/v1/units/{id}/poll"},
	"POST /units/{id}/commission": {"/api/v1/commissioning/begin", "/api/v1/commissioning/accept"},
	"POST /sites/{id}/visit":      {"/api/v1/visits"},
	"POST /visits/{id}":           {"/api/v1/visits/{id}/end", "/api/v1/visits/{id}/capture"},
	"POST /deliveries":            {"/api/v1/deliveries/resend", "/api/v1/deliveries/drop", "/api/v1/webhooks/{id}/resume"},
	"POST /shelves":               {"/api/v1/shelves", "/api/v1/shelves/{id}/remove"},
	"POST /sign-in":               nil,
	"POST /sign-out":              nil,
}

// TestTheAPIDoesWhatThePageDoes reads the forms that the page takes from its
// source, so that a new one without its counterpart is found.
func TestTheAPIDoesWhatThePageDoes(t *testing.T) {
	doc, _ := whole(t).server.Described()
	names, err := os.ReadDir(".")
	require.NoError(t, err)
	found := 0
	for _, e := range names {
		if !strings.HasSuffix(e.Name(), ".go") || strings.HasSuffix(e.Name(), "_test.go") {
			continue
		}
		file, err := parser.ParseFile(token.NewFileSet(), e.Name(), nil, 0)
		require.NoError(t, err)
		ast.Inspect(file, func(n ast.Node) bool {
			lit, ok := n.(*ast.BasicLit)
			if !ok || lit.Kind != token.STRING {
				return true
			}
			pattern, _ := strconv.Unquote(lit.Value)
			if !strings.HasPrefix(pattern, "POST /") {
				return true
			}
			found++
			require.Contains(t, forms, pattern, "a form without a counterpart in the API")
			for _, path := range forms[pattern] {
				require.NotNil(t, doc.Paths[path], path)
				require.NotNil(t, doc.Paths[path].Post, path)
			}
			return true
		})
	}
	require.Greater(t, found, 6)
}

// TestDescriptionHoldsTogether checks the document after OpenAPI 3.1.0: every
// reference leads somewhere (4.8.23), operations have ids of their own (4.8.10),
// each variable of a path is a parameter (4.8.9), each answer is described
// (4.8.17), and so is each way to sign in (4.8.30).
func TestDescriptionHoldsTogether(t *testing.T) {
	s := whole(t)
	w := s.get("/api/openapi.json")
	require.Equal(t, http.StatusOK, w.Code)
	var doc any
	require.NoError(t, json.Unmarshal(w.Body.Bytes(), &doc))
	root := doc.(map[string]any)
	references := 0
	var walk func(v any)
	walk = func(v any) {
		switch v := v.(type) {
		case map[string]any:
			if ref, ok := v["$ref"].(string); ok {
				references++
				require.NotNil(t, resolve(root, ref), ref)
			}
			for _, inner := range v {
				walk(inner)
			}
		case []any:
			for _, inner := range v {
				walk(inner)
			}
		}
	}
	walk(doc)
	require.Greater(t, references, 50)

	ids := map[string]bool{}
	variable := regexp.MustCompile(`\{(\w+)\}`)
	schemes := resolve(root, "#/components/securitySchemes").(map[string]any)
	for path, item := range root["paths"].(map[string]any) {
		for method, op := range item.(map[string]any) {
			op := op.(map[string]any)
			id := op["operationId"].(string)
			require.False(t, ids[id], id)
			ids[id] = true
			require.NotEmpty(t, op["summary"], id)
			var named []string
			parameters, _ := op["parameters"].([]any)
			for _, p := range parameters {
				if p := p.(map[string]any); p["in"] == "path" {
					named = append(named, p["name"].(string))
					require.Equal(t, true, p["required"], "%s %s", method, path)
				}
			}
			var wanted []string
			for _, m := range variable.FindAllStringSubmatch(path, -1) {
				wanted = append(wanted, m[1])
			}
			require.ElementsMatch(t, wanted, named, "%s %s", method, path)
			answers := op["responses"].(map[string]any)
			for _, status := range []string{"401", "403", "429"} {
				require.Contains(t, answers, status, id)
			}
			for status, answer := range answers {
				require.NotEmpty(t, answer.(map[string]any)["description"], "%s %s", id, status)
			}
		}
	}
	for _, way := range root["security"].([]any) {
		for name := range way.(map[string]any) {
			require.Contains(t, schemes, name)
		}
	}
}

// resolve follows a JSON pointer of the document (RFC 6901).
func resolve(root map[string]any, ref string) any {
	var at any = root
	for _, step := range strings.Split(strings.TrimPrefix(ref, "#/"), "/") {
		group, ok := at.(map[string]any)
		if !ok {
			return nil
		}
		at = group[strings.NewReplacer("~1", "/", "~0", "~").Replace(step)]
	}
	return at
}

// TestAnswersAreAsDescribed holds real answers against their schemas.
func TestAnswersAreAsDescribed(t *testing.T) {
	s := newStage(t, makeFleet(2, 2), time.Now(), withJournal(&hooks{}, &journal{}))
	s.trouble(time.Now())
	doc, _ := s.server.Described()
	registry := doc.Components.Schemas
	id := s.id("cable/north-quay-riser", "cable-cut")
	checked := 0
	for path, item := range doc.Paths {
		if item.Get == nil || path == "/api/v1/changes" {
			continue
		}
		at := strings.NewReplacer("/alarms/{id}", "/alarms/"+id, "/sites/{id}", "/sites/north-quay", "/units/{id}", "/units/a1-room", "/links/{id}", "/links/a1").Replace(path)
		if path == "/api/v1/commissioning" {
			at += "?resource=unit/a1-room"
		}
		w := s.get(at)
		if w.Code == http.StatusForbidden {
			continue // for administrators
		}
		require.Equal(t, http.StatusOK, w.Code, "%s: %s", at, w.Body)
		media := item.Get.Responses["200"].Content["application/json"]
		require.NotNil(t, media, path)
		var body any
		require.NoError(t, json.Unmarshal(w.Body.Bytes(), &body), path)
		result := &huma.ValidateResult{}
		huma.Validate(registry, media.Schema, huma.NewPathBuffer(nil, 0), huma.ModeReadFromServer, body, result)
		if len(result.Errors) > 0 {
			t.Errorf("%s: %v", path, result.Errors)
		}
		checked++
	}
	require.Greater(t, checked, 15)
}
