package web_test

import (
	"flag"
	"math"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
)

var update = flag.Bool("update", false, "rewrite the golden files")

// TestGoldenPage compares a whole page, made in a bubble whose clock is fixed.
func TestGoldenPage(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		<-time.After(time.Until(day)) // the clock of the bubble jumps there
		s := newStage(t, makeFleet(1, 2), day)
		s.trouble(day)
		s.engine.units[0].Points = healthy(s.engine.units[0].Unit, 2.4, day).Points
		got := s.get("/").Body.String()
		got = regexp.MustCompile(`data-version="[^"]+"`).ReplaceAllString(got, `data-version="V"`)
		got = regexp.MustCompile(`\?v=[0-9a-f]{12}`).ReplaceAllString(got, "?v=F")
		path := filepath.Join("testdata", "fleet.html")
		if *update {
			require.NoError(t, os.WriteFile(path, []byte(got), 0o644))
		}
		want, err := os.ReadFile(path)
		require.NoError(t, err)
		require.Equal(t, string(want), got)
	})
}

func TestEveryPageIsWellMade(t *testing.T) {
	s := newStage(t, makeFleet(2, 4), time.Now())
	s.trouble(time.Now())
	s.engine.units[9].Err = errSilent
	for path, want := range map[string]string{
		"/":                   "3 causes need attention",
		"/sites/north-quay":   "Keys at the gatehouse",
		"/sites/site-2":       "No alarm asks for attention",
		"/units/a1-room":      "optical receive power",
		"/units/b1-room":      "no answer",
		"/alarms":             "3 active",
		"/alarms?state=all":   "6 in the list",
		"/alarms?state=held":  "1 held",
		"/alarms?site=site-2": "No alarm fits.",
		"/alarms/" + s.id("cable/north-quay-riser", "cable-cut"): "Before you touch anything",
		"/alarms/" + s.id("unit/a4-room", "sensor-broken"):       "Take off the shelf",
	} {
		w := s.get(path)
		body := w.Body.String()
		require.Equal(t, http.StatusOK, w.Code, path)
		require.Contains(t, body, want, path)
		require.Equal(t, 1, strings.Count(body, "<h1>"), "%s: one first heading", path)
		require.Contains(t, body, `<html lang="en">`)
		require.Contains(t, body, `href="#main"`, "%s: skip link", path)
		require.NotRegexp(t, `(src|href)="(https?:)?//`, body, "%s: nothing from outside", path)
		require.NotRegexp(t, `<style|style="|<script>|\son[a-z]+="|javascript:`, body, "%s: nothing inline", path)
		ids := map[string]bool{}
		for _, m := range regexp.MustCompile(`\sid="([^"]+)"`).FindAllStringSubmatch(body, -1) {
			require.False(t, ids[m[1]], "%s: id %q twice", path, m[1])
			ids[m[1]] = true
		}
		for _, m := range regexp.MustCompile(`(?:for|aria-labelledby)="([^"]+)"`).FindAllStringSubmatch(body, -1) {
			require.True(t, ids[m[1]], "%s: label for %q leads nowhere", path, m[1])
		}
		require.NotContains(t, body, "ZgotmplZ", path)
	}
}

func TestTextFromOutsideIsEscaped(t *testing.T) {
	s := newStage(t, makeFleet(1, 1), time.Now())
	s.list.Apply(time.Now(), alarms.Update{Key: alarms.Key{Resource: "unit/a1-room", Type: "sensor-broken"}, Site: "north-quay",
		Active: true, Severity: alarms.Minor, Text: `<script>alert(1)</script>" onmouseover="x`, Time: time.Now()})
	for _, path := range []string{"/", "/alarms", "/sites/north-quay"} {
		body := s.get(path).Body.String()
		require.NotContains(t, body, "<script>alert", path)
		require.NotContains(t, body, `" onmouseover`, path)
	}
}

func TestFormsWork(t *testing.T) {
	s := newStage(t, makeFleet(1, 4), time.Now())
	s.trouble(time.Now())
	id := s.id("unit/a2-room", "supply-redundancy-lost")
	form := map[string]string{"Content-Type": "application/x-www-form-urlencoded"}
	for _, c := range []struct {
		name, path, body string
		status           int
		location         string
	}{
		{"acknowledge from the list", "/alarms/" + id, "do=acknowledge&back=/alarms?state=new", 303, "/alarms?state=new"},
		{"never back to another host", "/alarms/" + id, "do=comment&text=x&back=//evil.example/", 303, "/alarms/" + id},
		{"nor by a backslash", "/alarms/" + id, `do=comment&text=x&back=/\evil.example/`, 303, "/alarms/" + id},
		{"nor by a scheme", "/alarms/" + id, "do=comment&text=x&back=https://evil.example/", 303, "/alarms/" + id},
		{"old version", "/alarms/" + id, "do=close&version=1", 409, ""},
		{"version is no number", "/alarms/" + id, "do=close&version=x", 400, ""},
		{"shelve", "/alarms/" + id, "do=shelve&for=4h&text=part+ordered", 303, "/alarms/" + id},
		{"unshelve", "/alarms/" + id, "do=unshelve", 303, "/alarms/" + id},
		{"shelve for nothing", "/alarms/" + id, "do=shelve&for=-1h", 400, ""},
		{"nothing to do", "/alarms/" + id, "", 400, ""},
		{"empty comment", "/alarms/" + id, "do=comment", 422, ""},
		{"unknown alarm", "/alarms/x", "do=close", 404, ""},
		{"poll", "/units/a1-room/poll", "", 303, "/units/a1-room"},
		{"poll unknown", "/units/x/poll", "", 404, ""},
		{"begin", "/units/a1-room/commission", "do=begin", 303, "/units/a1-room#baseline"},
		{"accept nothing", "/units/a1-room/commission", "do=accept", 409, ""},
		{"commission what", "/units/a1-room/commission", "", 400, ""},
		{"begin unknown", "/units/x/commission", "do=begin", 404, ""},
	} {
		w := s.do(call{method: "POST", path: c.path, body: c.body, secret: commissionSecret, header: form})
		require.Equal(t, c.status, w.Code, "%s: %s", c.name, w.Body)
		require.Equal(t, c.location, w.Header().Get("Location"), c.name)
	}
	a, _ := s.list.Alarm(id)
	require.Equal(t, "engineer", a.Actions[0].Operator)
}

func TestButtonsFollowTheRole(t *testing.T) {
	s := newStage(t, makeFleet(1, 4), time.Now())
	s.trouble(time.Now())
	for secret, want := range map[string][]bool{seeSecret: {false, false}, operateSecret: {true, false}, commissionSecret: {true, true}} {
		body := s.do(call{method: "GET", path: "/units/a1-room", secret: secret}).Body.String()
		require.Equal(t, want[0], strings.Contains(body, "Read it now"))
		require.Equal(t, want[1], strings.Contains(body, "Accept as baseline"))
		body = s.do(call{method: "GET", path: "/alarms", secret: secret}).Body.String()
		require.Equal(t, want[0], strings.Contains(body, ">Acknowledge<"))
	}
}

func TestAssets(t *testing.T) {
	s := newStage(t, makeFleet(1, 1), time.Now())
	body := s.get("/").Body.String()
	links := regexp.MustCompile(`"(/assets/[^"]+)"`).FindAllStringSubmatch(body, -1)
	require.GreaterOrEqual(t, len(links), 3)
	for _, m := range links {
		w := s.get(m[1])
		require.Equal(t, http.StatusOK, w.Code, m[1])
		require.Contains(t, w.Header().Get("Cache-Control"), "immutable")
		plain, _, _ := strings.Cut(m[1], "?")
		require.Equal(t, "no-store", s.get(plain).Header().Get("Cache-Control"))
	}
	require.Equal(t, http.StatusNotFound, s.get("/assets/layout.html").Code, "templates are not for readers")
}

// TestContrast holds the colours to WCAG 2.2, success criterion 1.4.3: 4.5 to
// 1 for text, and 1.4.11: 3 to 1 for drawings.
func TestContrast(t *testing.T) {
	css, err := os.ReadFile(filepath.Join("assets", "style.css"))
	require.NoError(t, err)
	blocks := regexp.MustCompile(`(?s):root \{(.*?)\}`).FindAllStringSubmatch(string(css), -1)
	require.GreaterOrEqual(t, len(blocks), 2)
	for i, look := range []string{"light", "dark"} {
		colour := map[string]string{}
		for _, m := range regexp.MustCompile(`--(\w+): (#\w{6});`).FindAllStringSubmatch(blocks[i][1], -1) {
			colour[m[1]] = m[2]
		}
		require.Len(t, colour, 18, look)
		for _, ground := range []string{"ground", "sheet", "sky", "roof", "fibre", "room"} {
			for _, text := range []string{"ink", "soft", "link"} {
				require.GreaterOrEqual(t, contrast(t, colour[text], colour[ground]), 4.5, "%s: %s on %s", look, text, ground)
			}
		}
		for _, tone := range []string{"critical", "major", "minor", "warning", "good", "quiet"} {
			for _, ground := range []string{"ground", "sheet", "fibre"} {
				require.GreaterOrEqual(t, contrast(t, colour[tone], colour[ground]), 4.5, "%s: %s on %s", look, tone, ground)
			}
		}
		require.GreaterOrEqual(t, contrast(t, colour["shaft"], colour["sheet"]), 3.0, look)
		require.GreaterOrEqual(t, contrast(t, colour["sheet"], colour["ink"]), 4.5, look)
	}
}

// contrast is the contrast ratio of WCAG 2.2.
func contrast(t *testing.T, a, b string) float64 {
	la, lb := luminance(t, a), luminance(t, b)
	return (max(la, lb) + 0.05) / (min(la, lb) + 0.05)
}

func luminance(t *testing.T, colour string) float64 {
	n, err := strconv.ParseUint(strings.TrimPrefix(colour, "#"), 16, 32)
	require.NoError(t, err, colour)
	sum := 0.0
	for i, weight := range []float64{0.0722, 0.7152, 0.2126} {
		c := float64(n>>(8*i)&0xff) / 255
		if c <= 0.04045 {
			sum += weight * c / 12.92
		} else {
			sum += weight * math.Pow((c+0.055)/1.055, 2.4)
		}
	}
	return sum
}
