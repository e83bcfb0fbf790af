package web_test

import (
	"errors"
	"net/http"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/alarms/brief/paper"
)

func TestDocuments(t *testing.T) {
	s := newStage(t, makeFleet(2, 2), day)
	s.trouble(day)
	for path, want := range map[string]struct{ kind, has string }{
		"/api/v1/sites/north-quay/brief":                          {"application/json", `"site":"north-quay"`},
		"/api/v1/sites/north-quay/brief?format=html":              {"text/html; charset=utf-8", "Cable north-quay-riser is cut"},
		"/api/v1/sites/north-quay/brief?format=pdf&paper=Letter":  {"application/pdf", "%PDF-"},
		"/api/v1/sites/north-quay/brief?format=csv":               {"text/csv; charset=utf-8", "receive_power_dbm"},
		"/api/v1/links/a1/certificate":                            {"application/json", `"accepted":false`},
		"/api/v1/links/a1/certificate?format=pdf":                 {"application/pdf", "%PDF-"},
		"/api/v1/sites/north-quay/availability?month=2026-10":     {"application/json", `"month":"2026-10"`},
		"/api/v1/visit-order":                                     {"application/json", `"site":"north-quay"`},
		"/api/v1/visit-order?format=csv":                          {"text/csv; charset=utf-8", "days_left"},
		"/sites/north-quay/brief":                                 {"text/html; charset=utf-8", "Visit brief"},
		"/sites/north-quay/brief?format=pdf":                      {"application/pdf", "%PDF-"},
		"/sites/north-quay/availability?month=2026-10&format=csv": {"text/csv; charset=utf-8", "minutes_lost"},
		"/links/a1/certificate":                                   {"text/html; charset=utf-8", "Commissioning certificate"},
		"/visit-order":                                            {"text/html; charset=utf-8", "Order of visits"},
	} {
		t.Run(path, func(t *testing.T) {
			w := s.do(call{method: "GET", path: path, secret: seeSecret})
			require.Equal(t, http.StatusOK, w.Code, w.Body.String())
			require.Equal(t, want.kind, w.Header().Get("Content-Type"))
			require.True(t, strings.Contains(w.Body.String(), want.has), "%s in the document", want.has)
			require.NotEmpty(t, w.Header().Get("Content-Disposition"))
			if strings.HasPrefix(want.kind, "text/html") {
				require.Contains(t, w.Header().Get("Content-Security-Policy"), paper.StylePolicy, "else a browser drops the style")
				require.NotContains(t, w.Body.String(), "<script")
				require.NotContains(t, w.Body.String(), "src=", "a document asks for nothing outside itself")
			}
		})
	}
}

func TestDocumentsRefuse(t *testing.T) {
	s := newStage(t, makeFleet(1, 1), day)
	for path, want := range map[string]int{
		"/api/v1/sites/nowhere/brief":                         http.StatusNotFound,
		"/api/v1/links/nowhere/certificate":                   http.StatusNotFound,
		"/api/v1/links/a1/certificate?format=csv":             http.StatusUnprocessableEntity,
		"/api/v1/sites/north-quay/brief?format=docx":          http.StatusUnprocessableEntity,
		"/api/v1/sites/north-quay/brief?paper=A3":             http.StatusUnprocessableEntity,
		"/api/v1/sites/north-quay/availability?month=October": http.StatusUnprocessableEntity,
		"/api/v1/sites/north-quay/availability?month=2999-01": http.StatusUnprocessableEntity,
		"/sites/nowhere/brief":                                http.StatusNotFound,
		"/sites/north-quay/brief?format=docx":                 http.StatusBadRequest,
	} {
		require.Equal(t, want, s.get(path).Code, path)
	}
	require.Equal(t, http.StatusUnauthorized, s.do(call{method: "GET", path: "/api/v1/sites/north-quay/brief"}).Code)
	require.Equal(t, http.StatusUnauthorized, s.do(call{method: "GET", path: "/sites/north-quay/brief"}).Code)
}

func TestPagesLeadToDocuments(t *testing.T) {
	s := newStage(t, makeFleet(1, 1), day)
	body := s.get("/sites/north-quay").Body.String()
	require.Contains(t, body, `href="/sites/north-quay/brief"`)
	require.Contains(t, body, `href="/links/a1/certificate"`)
	require.Contains(t, s.get("/").Body.String(), `href="/visit-order"`)
}

// TestBriefWithoutTheHistory is made all the same when the history fails.
func TestBriefWithoutTheHistory(t *testing.T) {
	s, p := historyStage(t)
	p.err = errors.New("gone")
	w := s.get("/sites/north-quay/brief")
	require.Equal(t, http.StatusOK, w.Code)
	require.Contains(t, w.Body.String(), "The history could not be read")
}
