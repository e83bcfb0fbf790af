package trend_test

import (
	"context"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms/trend"
	"lightwell/collector"
	"lightwell/collector/state"
)

// plain returns n sites of a pair of units, without the other points that a
// unit has: only what is followed counts here.
func plain(n int) *collector.Fleet {
	kind := collector.Equipment{Model: "pair", Points: []collector.Point{rx, tx, bias, temp, up}}
	var f collector.Fleet
	for i := range n {
		site, roof, room := fmt.Sprintf("site-%04d", i), fmt.Sprintf("roof-%04d", i), fmt.Sprintf("room-%04d", i)
		f.Sites = append(f.Sites, collector.Site{ID: site, Location: time.UTC})
		f.Units = append(f.Units, collector.Unit{ID: roof, Site: site, Role: collector.Outdoor, Via: room, Equipment: kind}, collector.Unit{ID: room, Site: site, Role: collector.Indoor, Equipment: kind})
		f.Links = append(f.Links, collector.Link{ID: "l-" + site, Outdoor: roof, Indoor: room})
	}
	return collector.NewFleet(f)
}

// folderSize returns the bytes of all files of a folder.
func folderSize(t *testing.T, folder string) (n int64) {
	require.NoError(t, filepath.WalkDir(folder, func(_ string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		info, err := e.Info()
		n += info.Size()
		return err
	}))
	return n
}

// TestDurableSize: 30 days of a fleet, each unit stored once a day. A point
// takes at most 128 bytes of what is stored in a day, and in the database with
// names, checksums, index and page headers. What the file has beyond, the free
// room of pages whose rows have grown and shrunk, is logged.
func TestDurableSize(t *testing.T) {
	const (
		sites, days = 100, 30
		points      = 3 * 2 * sites
	)
	ctx, folder := context.Background(), t.TempDir()
	open := func() *state.Store {
		db, err := state.Open(ctx, state.Config{Folder: folder}, nil)
		require.NoError(t, err)
		return db
	}
	require.NoError(t, open().Close())
	before := folderSize(t, folder)
	db := open()
	copied := func(name string) float64 {
		at := filepath.Join(t.TempDir(), name)
		require.NoError(t, db.Backup(ctx, at))
		info, err := os.Stat(at)
		require.NoError(t, err)
		return float64(info.Size())
	}
	empty := copied("empty")
	counted := &counter{Store: db}
	s := newStage(t, trend.Config{Store: counted})
	s.k.SetFleet(plain(sites))
	s.swing = 0.02
	for day := range days {
		for ; s.day() < float64(day+1); s.now = s.now.Add(half) {
			for _, p := range s.polls() {
				of := p.Unit
				for i := range sites {
					p.Unit = fmt.Sprintf("%s-%04d", of, i)
					s.k.Observe(p)
				}
			}
		}
		require.NoError(t, s.k.Write(ctx))
	}
	stored := (copied("full") - empty) / points
	require.NoError(t, db.Close())
	inFile := float64(folderSize(t, folder)-before) / points
	written := float64(counted.bytes) / points / days
	t.Logf("%.0f bytes a point in the database, %.0f in its file with the free room of pages; %.0f bytes a point and day handed to it, in %.2f rows a unit and day", stored, inFile, written, float64(counted.rows)/(2*sites)/days)
	require.LessOrEqual(t, written, 128.0)
	require.LessOrEqual(t, stored, 128.0)
}

// counter counts what is stored of units.
type counter struct {
	*state.Store
	rows, bytes int
}

func (c *counter) SaveTrends(ctx context.Context, rows []state.TrendRow) error {
	for _, r := range rows {
		c.rows++
		c.bytes += len(r.Name) + len(r.Body) + 8 // checksum
	}
	return c.Store.SaveTrends(ctx, rows)
}
