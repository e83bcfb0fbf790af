package sample_test

import (
	"bytes"
	"compress/gzip"
	"flag"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/alarms/drift/drifttest"
	"lightwell/cmd/lightwell/replay/sample"
)

var remake = flag.Bool("corpus", false, "make testdata/corpus anew")

const corpus = "testdata/corpus"

// corpusPoints are what testdata/corpus holds, 150 days each.
var corpusPoints = []drifttest.Recipe{
	{Kind: drifttest.Healthy}, {Kind: drifttest.Healthy}, {Kind: drifttest.Healthy},
	{Kind: drifttest.Drift, Rate: 0.2, Shape: drifttest.Linear},
	{Kind: drifttest.Drift, Rate: 0.5, Shape: drifttest.Quadratic},
	{Kind: drifttest.Drift, Rate: 1, Shape: drifttest.Exponential},
	{Kind: drifttest.Step, Size: 0.5}, {Kind: drifttest.Step, Size: 1},
	{Kind: drifttest.Intermittent, Size: 2}, {Kind: drifttest.Service, Size: 0.4},
}

func makeCorpus(t *testing.T) {
	var readings, service, labels bytes.Buffer
	s := drifttest.NewSample(&readings, &service, &labels)
	for i, r := range corpusPoints {
		r.Seed, r.Days, r.Period = 42_000_000+uint64(i), 150, 3600
		s.Add(r.Kind+string(rune('a'+i)), drifttest.New(r))
	}
	require.NoError(t, s.Close())
	var packed bytes.Buffer
	z, err := gzip.NewWriterLevel(&packed, gzip.BestCompression)
	require.NoError(t, err)
	_, err = z.Write(readings.Bytes())
	require.NoError(t, err)
	require.NoError(t, z.Close())
	for name, data := range map[string][]byte{"readings.csv.gz": packed.Bytes(), "service.csv": service.Bytes(), "labels.csv": labels.Bytes()} {
		require.NoError(t, os.MkdirAll(corpus, 0o755))
		require.NoError(t, os.WriteFile(filepath.Join(corpus, name), data, 0o644))
	}
}

// labelsOf reads the truth of a folder.
func labelsOf(t testing.TB, folder string) map[string]*sample.Label {
	f, err := os.Open(filepath.Join(folder, "labels.csv"))
	require.NoError(t, err)
	defer f.Close()
	labels, err := sample.ReadLabels(f.Name(), f)
	require.NoError(t, err)
	return labels
}

// TestCorpus: every fault of the small labelled corpus is found in time, and
// nothing else.
func TestCorpus(t *testing.T) {
	if *remake {
		makeCorpus(t)
	}
	sum, err := sample.Run(t.Context(), corpus)
	require.NoError(t, err)
	require.Equal(t, len(corpusPoints), sum.Series)
	require.Equal(t, 150*len(corpusPoints), sum.Days)
	labels := labelsOf(t, corpus)
	score, err := sample.Judge(labels, sum.Detections)
	require.NoError(t, err)
	n, _ := score.FalseAlarms()
	require.Zero(t, n, "%v", score.False)
	for class, within := range map[string]float64{
		"drift 0.1-0.3 dB/month": 24, "drift >=0.3 dB/month": 13, "step 0.3-0.7 dB": 0.8, "step >=0.7 dB": 0.35, "intermittent": 3,
	} {
		f := score.Faults[class]
		require.NotNil(t, f, class)
		require.Len(t, f.Delays, f.Faults, "%s: all are found", class)
		require.Zero(t, f.TooLate, class)
		for _, d := range f.Delays {
			require.LessOrEqual(t, d, within, class)
		}
	}
	require.Equal(t, 3, score.Predicted)

	var out bytes.Buffer
	require.NoError(t, sample.WriteCSV(&out, sum.Detections))
	again, err := sample.ReadDetections("detections", &out)
	require.NoError(t, err)
	second, err := sample.Judge(labels, again)
	require.NoError(t, err)
	require.Equal(t, score.Faults, second.Faults, "the table says what was found")
}
