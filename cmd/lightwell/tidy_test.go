package main

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/web"
)

func TestTidyingCommands(t *testing.T) {
	url, asked := fakeDaemon(t, map[string]any{
		"POST /api/v1/alarms/purge":    web.Tidied{Alarms: 7},
		"POST /api/v1/alarms/compress": web.Tidied{Alarms: 2},
	})
	out, err := lightwell(t, "alarms", "purge", "--server", url, "--older-than", "720h", "--site", "north-quay", "--text", "spring")
	require.NoError(t, err)
	require.Equal(t, "7 alarms purged\n", out)
	require.Regexp(t, `^POST /api/v1/alarms/purge \{"clearance":"cleared","changed_before":"20\d\d-[^"]+Z","site":"north-quay","text":"spring"\}$`, (*asked)[0])
	out, err = lightwell(t, "alarms", "compress", "--server", url, "--clearance", "any", "--below", "major")
	require.NoError(t, err)
	require.Equal(t, "2 alarms compressed\n", out)
	require.Contains(t, (*asked)[1], `{"clearance":"any","below":"major"}`)
}

func TestShelfCommands(t *testing.T) {
	url, asked := fakeDaemon(t, map[string]any{
		"GET /api/v1/shelves": page[alarms.Shelf]{Items: []alarms.Shelf{{
			Name: "works", Resource: "unit/nq-roof", Until: time.Date(2026, 11, 26, 8, 0, 0, 0, time.UTC), Operator: "anna", Text: "crane",
		}}},
		"POST /api/v1/shelves":              page[alarms.Shelf]{},
		"POST /api/v1/shelves/works/remove": page[alarms.Shelf]{},
	})
	out, err := lightwell(t, "alarms", "shelf", "--server", url)
	require.NoError(t, err)
	require.Regexp(t, `(?m)^works +2026-11-26 08:00:00 UTC +anna +unit/nq-roof +crane$`, out)
	out, err = lightwell(t, "alarms", "shelf", "put", "works", "--server", url, "--for", "8h", "--resource", "unit/nq-roof")
	require.NoError(t, err)
	require.True(t, strings.HasPrefix(out, "shelf works until 20"), out)
	require.Contains(t, (*asked)[1], `"name":"works","resource":"unit/nq-roof","until":`)
	_, err = lightwell(t, "alarms", "shelf", "put", "all", "--server", url, "--for", "8h")
	require.ErrorContains(t, err, "would take every alarm")
	out, err = lightwell(t, "alarms", "shelf", "remove", "works", "--server", url)
	require.NoError(t, err)
	require.Equal(t, "shelf works is gone\n", out)
}
