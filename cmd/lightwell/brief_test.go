package main

import (
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// documents answers as the API does, and remembers what was asked.
func documents(t *testing.T) (server string, asked *[]string) {
	asked = &[]string{}
	s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		*asked = append(*asked, r.URL.RequestURI())
		switch {
		case r.URL.Path == "/api/v1/visit-order" && r.URL.Query().Get("format") == "":
			_, _ = w.Write([]byte(`{"made":"2026-11-25T10:30:00Z","sites":[{"site":"hill","name":"Hill House","severity":"critical","jobs":1,"days_left":0,"reason":"critical: laser failed"},{"site":"quay","name":"Quay","severity":"","jobs":0,"days_left":189.6,"reason":"3 dB lost: between 6 and 17 months"}]}`))
		case r.URL.Path == "/api/v1/sites/quay/availability" && r.URL.Query().Get("format") == "":
			_, _ = w.Write([]byte(`{"site":"quay","name":"Quay","month":"2026-10","from":"2026-10-01T00:00:00Z","to":"2026-11-01T00:00:00Z","links":[{"link":"q1","percent":99.9,"outages":1,"minutes_lost":44.6,"longest_outage_minutes":44.6,"planned_work_minutes":60,"unknown_minutes":5},{"link":"q2","outages":0,"unknown_minutes":44640}]}`))
		case r.URL.Path == "/api/v1/sites/nowhere/brief":
			w.WriteHeader(http.StatusNotFound)
			_, _ = w.Write([]byte(`{"status":404,"detail":"site \"nowhere\": the fleet has nothing of that name"}`))
		default:
			_, _ = w.Write([]byte("the document"))
		}
	}))
	t.Cleanup(s.Close)
	return s.URL, asked
}

func TestBriefCommand(t *testing.T) {
	server, asked := documents(t)
	out, _, err := typed(t.Context(), "brief", "--server", server, "site/quay")
	require.NoError(t, err)
	require.Equal(t, "the document", out)
	require.Equal(t, "/api/v1/sites/quay/brief?format=text&paper=A4", (*asked)[0])

	file := filepath.Join(t.TempDir(), "quay.pdf")
	_, said, err := typed(t.Context(), "brief", "--server", server, "quay", "--format", "pdf", "--paper", "Letter", "--output", file)
	require.NoError(t, err)
	require.Equal(t, "/api/v1/sites/quay/brief?format=pdf&paper=Letter", (*asked)[1])
	require.Contains(t, said, "wrote "+file)
	written, err := os.ReadFile(file)
	require.NoError(t, err)
	require.Equal(t, "the document", string(written))

	out, _, err = typed(t.Context(), "brief", "--server", server, "--rank")
	require.NoError(t, err)
	require.Equal(t, ""+
		"   site  severity  days left  why\n"+
		"1  hill  critical  0          critical: laser failed\n"+
		"2  quay  -         190        3 dB lost: between 6 and 17 months\n", out)
	_, _, err = typed(t.Context(), "brief", "--server", server, "--rank", "--format", "csv")
	require.NoError(t, err)
	require.Equal(t, "/api/v1/visit-order?format=csv&paper=A4", (*asked)[3])
}

func TestBriefCommandRefuses(t *testing.T) {
	server, _ := documents(t)
	for name, c := range map[string]struct {
		args []string
		says string
	}{
		"nothing named":       {[]string{"brief"}, "no site is named"},
		"site and rank":       {[]string{"brief", "quay", "--rank"}, "leave the site out"},
		"PDF on the terminal": {[]string{"brief", "quay", "--format", "pdf"}, "a PDF needs --output FILE"},
		"unknown site":        {[]string{"brief", "nowhere"}, "the fleet has nothing of that name"},
		"folder missing":      {[]string{"brief", "quay", "--output", "/nonexistent/x.html"}, "write document"},
	} {
		t.Run(name, func(t *testing.T) {
			_, _, err := typed(t.Context(), append(c.args, "--server", server)...)
			require.ErrorContains(t, err, c.says)
		})
	}
}

func TestAvailabilityCommand(t *testing.T) {
	server, asked := documents(t)
	out, _, err := typed(t.Context(), "availability", "--server", server, "quay", "--month", "2026-10")
	require.NoError(t, err)
	require.Equal(t, ""+
		"Quay, 2026-10, from 2026-10-01 00:00:00 UTC to 2026-11-01 00:00:00 UTC\n"+
		"link  available  outages  lost, min  longest, min  planned work, min  unknown, min\n"+
		"q1    99.900 %   1        44.6       44.6          60.0               5.0\n"+
		"q2    -          0        0.0        0.0           0.0                44640.0\n", out)
	require.Equal(t, "/api/v1/sites/quay/availability?month=2026-10", (*asked)[0])
}

func TestCertificateCommand(t *testing.T) {
	server, asked := documents(t)
	_, _, err := typed(t.Context(), "commission", "certificate", "--server", server, "link/q1")
	require.NoError(t, err)
	require.Equal(t, "/api/v1/links/q1/certificate?format=html&paper=A4", (*asked)[0])
}
