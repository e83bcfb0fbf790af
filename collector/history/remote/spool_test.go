package remote_test

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/collector"
	"lightwell/collector/history/remote"
)

func openSpool(t *testing.T, folder string, most, seal int64) *remote.Spool {
	t.Helper()
	s, err := remote.OpenSpool(folder, most, seal)
	require.NoError(t, err)
	t.Cleanup(func() { _ = s.Close() }) // the second time after a test's own Close
	return s
}

func put(t *testing.T, s *remote.Spool, from, to int) {
	t.Helper()
	for i := from; i < to; i++ {
		require.NoError(t, s.Append(fmt.Sprintf("record-%04d", i)))
	}
}

// take takes records and, when done is set, says so.
func take(t *testing.T, s *remote.Spool, most int, done bool) []string {
	t.Helper()
	got, ack, err := s.Next(most)
	require.NoError(t, err)
	if done {
		require.NoError(t, ack())
	}
	return got
}

// want are the records from to to.
func want(from, to int) []string {
	var out []string
	for i := from; i < to; i++ {
		out = append(out, fmt.Sprintf("record-%04d", i))
	}
	return out
}

// Records come out once, in order, over many files and restarts.
func TestSpoolKeepsOrderOverRestarts(t *testing.T) {
	folder := t.TempDir()
	s := openSpool(t, folder, 1<<20, 100)
	put(t, s, 0, 50)
	require.Equal(t, want(0, 7), take(t, s, 7, false))
	require.Equal(t, want(0, 7), take(t, s, 7, true), "what is not done comes again")
	require.Equal(t, 43, s.Waiting())
	require.NoError(t, s.Close())

	s = openSpool(t, folder, 1<<20, 100)
	require.Equal(t, 43, s.Waiting())
	put(t, s, 50, 60)
	require.Equal(t, want(7, 60), take(t, s, 1000, true))
	require.Empty(t, take(t, s, 1000, true))
	require.Zero(t, s.Waiting())
	files, err := filepath.Glob(filepath.Join(folder, "*.readings"))
	require.NoError(t, err)
	require.Len(t, files, 1, "files that are done with are removed")
	require.NoError(t, s.Close())
	require.Empty(t, take(t, openSpool(t, folder, 1<<20, 100), 10, false))
}

func TestSpoolBound(t *testing.T) {
	s := openSpool(t, t.TempDir(), 1000, 100)
	put(t, s, 0, 200)
	require.LessOrEqual(t, s.Bytes(), int64(1000))
	got := take(t, s, 1000, false)
	require.Equal(t, want(200-len(got), 200), got, "the oldest go")
	require.Equal(t, 200, s.Dropped()+len(got))
	require.Equal(t, len(got), s.Waiting())
}

// Records that are under way while the bound takes them are not done twice.
func TestSpoolBoundWhileSending(t *testing.T) {
	s := openSpool(t, t.TempDir(), 1000, 100)
	put(t, s, 0, 20)
	_, ack, err := s.Next(3)
	require.NoError(t, err)
	put(t, s, 20, 200)
	require.NoError(t, ack())
	got := take(t, s, 1000, true)
	require.Equal(t, want(200-len(got), 200), got)
	require.Zero(t, s.Waiting())
}

func TestSpoolDamage(t *testing.T) {
	newest := func(folder string) string {
		files, err := filepath.Glob(filepath.Join(folder, "*.readings"))
		require.NoError(t, err)
		return files[len(files)-1]
	}
	flip := func(path string, at int) {
		data, err := os.ReadFile(path)
		require.NoError(t, err)
		data[at] ^= 0x40
		require.NoError(t, os.WriteFile(path, data, 0o600))
	}
	cut := func(path string, by int) {
		data, err := os.ReadFile(path)
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(path, data[:len(data)-by], 0o600))
	}
	const record = 12 + 11
	for name, c := range map[string]struct {
		harm func(folder string)
		want []string // of records 0 to 8, five a file, then 9
	}{
		"torn end":       {func(f string) { cut(newest(f), 3) }, append(want(0, 8), want(9, 10)...)},
		"torn header":    {func(f string) { cut(newest(f), record-5) }, append(want(0, 8), want(9, 10)...)},
		"flipped body":   {func(f string) { flip(filepath.Join(f, "0000000000000001.readings"), 2*record+15) }, append(want(0, 2), want(5, 10)...)},
		"flipped length": {func(f string) { flip(filepath.Join(f, "0000000000000001.readings"), 2*record+3) }, append(want(0, 2), want(5, 10)...)},
		"flipped count":  {func(f string) { flip(filepath.Join(f, "0000000000000001.readings"), 2*record+8) }, append(want(0, 2), want(5, 10)...)},
		"cursor lost":    {func(f string) { require.NoError(t, os.Remove(filepath.Join(f, "cursor"))) }, want(0, 10)},
		"cursor flipped": {func(f string) { flip(filepath.Join(f, "cursor"), 3) }, want(0, 10)},
		"file lost":      {func(f string) { require.NoError(t, os.Remove(filepath.Join(f, "0000000000000001.readings"))) }, want(5, 10)},
	} {
		t.Run(name, func(t *testing.T) {
			folder := t.TempDir()
			s := openSpool(t, folder, 1<<20, 5*record)
			put(t, s, 0, 9)
			take(t, s, 0, true) // writes the cursor
			require.NoError(t, s.Close())
			c.harm(folder)
			s = openSpool(t, folder, 1<<20, 5*record)
			put(t, s, 9, 10)
			var got []string
			for {
				part := take(t, s, 1000, true)
				if len(part) == 0 {
					break
				}
				got = append(got, part...)
			}
			require.Equal(t, c.want, got)
		})
	}
}

// A flip in the file that is written must not stop what comes behind.
func TestSpoolDamageInTheOpenFile(t *testing.T) {
	folder := t.TempDir()
	s := openSpool(t, folder, 1<<20, 1<<20)
	put(t, s, 0, 3)
	f, err := os.OpenFile(filepath.Join(folder, "0000000000000001.readings"), os.O_WRONLY, 0)
	require.NoError(t, err)
	_, err = f.WriteAt([]byte("x"), 15)
	require.NoError(t, err)
	require.NoError(t, f.Close())
	require.Empty(t, take(t, s, 10, true))
	require.Equal(t, 1, s.Damaged())
	put(t, s, 3, 5)
	require.Equal(t, want(3, 5), take(t, s, 10, true))
}

func polled() collector.Poll {
	at := time.Date(2026, 3, 1, 12, 0, 0, 5e6, time.UTC)
	p := func(q collector.Quantity, port string, v float64) collector.Reading {
		return collector.Reading{Unit: "u1", Point: collector.Point{Quantity: q, Port: port}, Value: v, Taken: at}
	}
	poll := collector.Poll{Unit: "u1", Readings: []collector.Reading{
		p(collector.OpticalReceivePower, "", -3.21), p(collector.SupplyState, "b", 1), p(collector.LaserBias, "", math.Inf(1)),
	}}
	poll.Readings[1].Taken = at.Add(-time.Second)
	return poll
}

func TestRecordsRoundTrip(t *testing.T) {
	poll := polled()
	want := append(append([]collector.Reading{}, poll.Readings...), poll.Readings...)
	bad := poll.Readings[0]
	bad.Quality = collector.Broken
	poll.Readings = append(poll.Readings, bad)
	b, n := remote.Encode(nil, poll)
	require.Equal(t, 3, n)
	b, _ = remote.Encode(b, poll)
	got, err := remote.Decode(b)
	require.NoError(t, err)
	require.Equal(t, want, got)

	b, n = remote.Encode(nil, collector.Poll{Unit: "u1", Readings: []collector.Reading{bad}})
	require.Zero(t, n)
	require.Empty(t, b)
	_, err = remote.Decode([]byte{9, 1})
	require.ErrorContains(t, err, "version 9")
}

func FuzzDecode(f *testing.F) {
	whole, _ := remote.Encode(nil, polled())
	f.Add(whole)
	f.Add(whole[:len(whole)-3])
	f.Add([]byte{1, 2, 'u', '1', 0xff, 0xff, 0xff, 0xff, 0x0f})
	f.Fuzz(func(t *testing.T, b []byte) {
		got, _ := remote.Decode(b)
		for _, r := range got {
			if _, ok := r.Point.Quantity.Info(); !ok {
				t.Fatalf("unknown quantity %q", r.Point.Quantity)
			}
		}
		if len(got) > len(b) {
			t.Fatalf("%d readings of %d bytes", len(got), len(b))
		}
	})
}

func TestOwnUnitIsTheInverseOfBaseUnit(t *testing.T) {
	for _, q := range collector.Quantities() {
		for _, v := range []float64{0, 31.7, -3.21, 0.1, 499.99, 1e-6, 12345.678} {
			require.Equal(t, v, remote.OwnUnit(q.Quantity, q.Quantity.BaseUnit(v)), "%s %v", q.Quantity, v)
		}
	}
}
