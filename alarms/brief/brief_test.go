package brief_test

import (
	"bytes"
	"encoding/csv"
	"flag"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/brief"
	"lightwell/alarms/brief/paper"
	"lightwell/alarms/caution"
	"lightwell/alarms/drift"
	"lightwell/alarms/rules"
	"lightwell/collector"
	"lightwell/collector/need"
)

var update = flag.Bool("update", false, "write the golden files anew")

func golden(t *testing.T, name string, got []byte) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		require.NoError(t, os.WriteFile(path, got, 0o644))
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err, "run the test with -update once, and look at the document")
	require.Equal(t, string(want), string(got))
}

func html(t *testing.T, d *paper.Document) string {
	t.Helper()
	out, err := d.HTML()
	require.NoError(t, err)
	return string(out)
}

// pages returns the text of a PDF, page by page.
func pages(t *testing.T, d *paper.Document, f paper.Format) []string {
	t.Helper()
	program := need.Program(t, "pdftotext")
	data, err := d.PDF(f)
	require.NoError(t, err)
	cmd := exec.Command(program, "-layout", "-", "-")
	cmd.Stdin = bytes.NewReader(data)
	out, err := cmd.Output()
	require.NoError(t, err)
	all := strings.Split(string(out), "\f")
	return all[:len(all)-1]
}

// says is Contains without printing a whole document.
func says(t *testing.T, text, want string) {
	t.Helper()
	require.True(t, strings.Contains(text, want), "not in the document: %s", want)
}

func site(t *testing.T, s *stage) *brief.Brief {
	t.Helper()
	b, err := s.writer().Site(t.Context(), "north-quay", now)
	require.NoError(t, err)
	return b
}

func TestBriefOfASite(t *testing.T) {
	b := site(t, faulty(2))
	got, err := b.Document().HTML()
	require.NoError(t, err)
	golden(t, "brief.html", got)
	golden(t, "brief.csv", b.CSV())
	golden(t, "brief.txt", b.Document().Text())
	again, err := site(t, faulty(2)).Document().HTML()
	require.NoError(t, err)
	require.Equal(t, string(got), string(again), "the same sources, the same document")
}

func TestOneFindingIsOneJob(t *testing.T) {
	b := site(t, faulty(2))
	require.Len(t, b.Jobs, 2, "two alarms of one finding, one alarm alone, and a consequence that is none")
	require.Equal(t, "Likely dirty or loose connector: downlink of nq-1, strand 1 of riser-1, at room-1, 3.1 dB.", b.Jobs[0].Title)
	require.Len(t, b.Jobs[0].Alarms, 2)
	require.Equal(t, []string{"nq-1"}, b.Jobs[0].Links)
	require.Equal(t, dirty().Deciding, b.Measure[1], "after what comes before all measuring")
	require.Contains(t, b.Bring, "one-click cleaner")
	require.Contains(t, b.Bring, "spare supply module")
	require.True(t, b.Links[0].Affected)
	require.False(t, b.Links[2].Affected)
}

// TestCautionsFitTheWork: not all of them always, and none missing.
func TestCautionsFitTheWork(t *testing.T) {
	for name, c := range map[string]struct {
		kind   string
		texts  []string
		has    []string
		hasNot []string
	}{
		"supply":  {rules.SupplyRedundancy, caution.Mains, []string{"Mains:"}, []string{"fibre", "Roof:", "antenna"}},
		"antenna": {rules.AntennaFeedFault, caution.Antenna, []string{"Roof:", "antenna"}, []string{"Mains:", "fibre"}},
		"fibre":   {rules.SignalLost, caution.Path, []string{"fibre", "Roof:"}, []string{"Mains:"}},
	} {
		t.Run(name, func(t *testing.T) {
			s := newStage(1)
			s.raise("unit/room-1", c.kind, alarms.Major, alarms.Details{Cautions: c.texts})
			b := site(t, s)
			all := strings.Join(b.Cautions, "\n")
			for _, word := range c.has {
				require.Contains(t, all, word)
			}
			for _, word := range c.hasNot {
				require.NotContains(t, all, word)
			}
			require.Contains(t, b.Cautions[len(b.Cautions)-1], "Local codes")
		})
	}
}

// TestZoneWithoutAName is told by what it is ahead of UTC.
func TestZoneWithoutAName(t *testing.T) {
	s := newStage(1)
	azores, err := time.LoadLocation("Atlantic/Azores")
	require.NoError(t, err)
	s.fleet.Sites[0].Location = azores
	says(t, html(t, site(t, s).Document()), "25 Nov 2026 09:30 UTC-01:00")
}

// TestAlarmsOfAFindingAreSaid: a finding may be wrong, the alarms are not.
func TestAlarmsOfAFindingAreSaid(t *testing.T) {
	b := site(t, faulty(2))
	require.Equal(t, []string{"unit/room-1/optical_receive_power is not well. First look at it.", "link/nq-1 is not well. First look at it."}, b.Jobs[0].Texts)
	says(t, html(t, b.Document()), "<dt>Raised</dt><dd>unit/room-1/optical_receive_power is not well.")
}

func TestNothingWrong(t *testing.T) {
	b := site(t, newStage(1))
	require.Empty(t, b.Jobs)
	require.Empty(t, b.Cautions)
	says(t, html(t, b.Document()), "No alarm is raised at this site.")
}

func TestHeldAndShelvedAreSaid(t *testing.T) {
	s := newStage(1)
	s.raise("unit/room-1", rules.LaserFailed, alarms.Critical, alarms.Details{}).Hold = alarms.Hold{Reason: alarms.HoldPlannedWork, By: "visit/v4"}
	s.raise("unit/roof-1", rules.LaserFailed, alarms.Critical, alarms.Details{}).ShelfName = "waits for a part"
	text := html(t, site(t, s).Document())
	says(t, text, "suppressed by planned work, visit/v4")
	says(t, text, "waits for a part")
}

func TestEveryAlarmTypeHasItsKit(t *testing.T) {
	for _, r := range rules.All() {
		typ := r.Type()
		if typ.ID == rules.BaselineMissing {
			continue // nobody has to go there
		}
		s := newStage(1)
		s.raise("unit/room-1", typ.ID, alarms.Minor, alarms.Details{})
		require.NotEmpty(t, site(t, s).Bring, typ.ID)
	}
}

func TestHistory(t *testing.T) {
	for name, c := range map[string]struct {
		change func(*stage)
		note   string
	}{
		"there":  {func(*stage) {}, ""},
		"none":   {func(s *stage) { s.sources.History = nil }, "No history is kept here"},
		"broken": {func(s *stage) { s.broken = true }, "The history could not be read"},
	} {
		t.Run(name, func(t *testing.T) {
			s := faulty(1)
			c.change(s)
			text := html(t, site(t, s).Document())
			says(t, text, "baseline 1.6 dBm")
			require.Equal(t, c.note != "", strings.Contains(text, "the pictures show baseline and level now"))
			says(t, text, c.note)
		})
	}
}

func TestForecastAndMarksAreInThePictures(t *testing.T) {
	text := html(t, site(t, faulty(1)).Document())
	says(t, text, "receiver needs \u221214.0 dBm")
	says(t, text, ">visit v3</text>")
	says(t, text, "what the receiver needs: between 6 and 17 months")
	says(t, text, "The red field is the forecast")
}

func TestUnknownNames(t *testing.T) {
	w := newStage(1).writer()
	_, err := w.Site(t.Context(), "nowhere", now)
	require.ErrorIs(t, err, brief.ErrUnknown)
	_, err = w.Certificate("nowhere", now)
	require.ErrorIs(t, err, brief.ErrUnknown)
	_, err = w.Availability(t.Context(), "nowhere", "", now)
	require.ErrorIs(t, err, brief.ErrUnknown)
}

func TestPDFOfABrief(t *testing.T) {
	d := site(t, faulty(2)).Document()
	for _, f := range []paper.Format{paper.A4, paper.Letter} {
		all := pages(t, d, f)
		text := strings.Join(all, "\n")
		for _, want := range []string{
			"Visit brief: North Quay", "Likely dirty or loose connector", "Measure first", "one-click cleaner", "Safety in this work", "Treat every fibre as live",
			"1 Quay Street", "Roof hatch on level 9", "Hall 2", "Since commissioning", "baseline 1.6 dBm", "Found and done", "25 Nov 2026 10:30 WET",
		} {
			says(t, text, want)
		}
		says(t, all[0], "1 of "+string(rune('0'+len(all))))
		says(t, all[len(all)-1], "Found and done")
	}
}

func TestNamesFromOutsideStayText(t *testing.T) {
	s := faulty(1)
	s.alarms[2].Text = `<img src=x onerror=alert(1)>`
	s.alarms[2].Details.Actions = []string{"<b>bold</b>"}
	s.fleet.Links[0].Name = "=cmd()"
	b := site(t, s)
	text := html(t, b.Document())
	require.NotContains(t, text, "<img")
	require.NotContains(t, text, "<b>")
	rows, err := csv.NewReader(bytes.NewReader(b.CSV())).ReadAll()
	require.NoError(t, err)
	require.Equal(t, "'=cmd()", rows[1][3], "a spreadsheet shall not run it")
}

func TestCertificate(t *testing.T) {
	s := newStage(1)
	c, err := s.writer().Certificate("nq-1", now)
	require.NoError(t, err)
	require.True(t, c.Accepted)
	require.Empty(t, c.Open)
	require.InDelta(t, 1.247, c.Directions[0].PlannedLoss, 0.001, "0.42 km, 4 pairs, 2 splices by G.652 Appendix I")
	require.InDelta(t, 1.5, *c.Directions[0].Loss, 1e-9)
	golden(t, "certificate.html", []byte(html(t, c.Document())))
	all := pages(t, c.Document(), paper.A4)
	require.Len(t, all, 1)
	for _, want := range []string{"Accepted: both units", "version 1", "kim", "as planned", "riser-1, strand 1, 420 m", "None."} {
		says(t, all[0], want)
	}
}

// full is a certificate with more open points and levels than the page takes.
func full(t *testing.T) *brief.Certificate {
	t.Helper()
	s := newStage(1)
	for _, unit := range []string{"roof-1", "room-1"} {
		r := &s.records[unit][0]
		r.Model = "another"
		r.Forced, r.Reason = true, "the customer waits, and the part that would put it right comes in three weeks"
		for i := range 20 {
			r.Findings = append(r.Findings, strings.Repeat("the level moves more than it should ", 4)+string(rune('a'+i)))
		}
		for _, p := range []string{"a", "b", "c", "d", "e", "f", "g", "h"} {
			for _, q := range []collector.Quantity{collector.RFInputLevel, collector.RFOutputLevel, collector.SupplyVoltage} {
				r.Levels[collector.Point{Quantity: q, Port: p}] = r.Levels[rxDown]
			}
		}
	}
	c, err := s.writer().Certificate("nq-1", now)
	require.NoError(t, err)
	require.False(t, c.Accepted)
	require.Contains(t, c.Open, "roof-1: baseline 1 was taken on a another; the unit is a rack-dual-supply now.")
	return c
}

func TestFullCertificateIsOnePage(t *testing.T) {
	for _, f := range []paper.Format{paper.A4, paper.Letter} {
		all := pages(t, full(t).Document(), f)
		require.Len(t, all, 1, f)
		says(t, all[0], "Not accepted")
		says(t, all[0], "For the operator")
	}
}

// TestFullCertificatePrintsOnOnePage lets a browser print the HTML.
func TestFullCertificatePrintsOnOnePage(t *testing.T) {
	chromium, pdfinfo := need.Program(t, "chromium"), need.Program(t, "pdfinfo")
	for _, size := range []string{"A4", "letter"} {
		folder := t.TempDir()
		in, out := filepath.Join(folder, "c.html"), filepath.Join(folder, "c.pdf")
		sized := strings.Replace(html(t, full(t).Document()), "@page {", "@page { size: "+size+";", 1)
		require.NoError(t, os.WriteFile(in, []byte(sized), 0o600))
		cmd := exec.CommandContext(t.Context(), chromium, "--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer", "--user-data-dir="+filepath.Join(folder, "profile"), "--print-to-pdf="+out, "file://"+in)
		printed, err := cmd.CombinedOutput()
		require.NoError(t, err, string(printed))
		said, err := exec.Command(pdfinfo, out).Output()
		require.NoError(t, err)
		require.Regexp(t, `(?m)^Pages: +1$`, string(said), size)
	}
}

func TestCertificateWithoutABaseline(t *testing.T) {
	s := newStage(1)
	delete(s.records, "roof-1")
	c, err := s.writer().Certificate("nq-1", now)
	require.NoError(t, err)
	require.False(t, c.Accepted)
	require.Contains(t, c.Open, "roof-1: no baseline is accepted.")
	says(t, html(t, c.Document()), "Not accepted: see the open points.")
}

func TestOrderOfVisits(t *testing.T) {
	s := faulty(2)
	at := func(i int, site string) { s.alarms[i].Site = site }
	r := s.writer().Rank(now)
	require.Len(t, r.Sites, 1)
	require.InDelta(t, 190-10.0/24, r.Sites[0].Days, 0.01, "a forecast is better than a guess")
	require.Equal(t, "optical receive power of room-1 reaches its limit (what the receiver needs) between 6 and 17 months", r.Sites[0].Reason)

	pv := s.units[1].Points[rxDown]
	pv.Forecasts = append(pv.Forecasts, alarms.Forecast{Limit: alarms.LimitLoss, LossDB: 3, Made: now, Forecast: drift.Forecast{Lower: time.Hour, Upper: time.Hour * 48}})
	s.units[1].Points[rxDown] = pv
	require.InDelta(t, 190-10.0/24, s.writer().Rank(now).Sites[0].Days, 0.01, "3 dB lost is not the end of the service")

	s.raise("unit/x", rules.LaserFailed, alarms.Critical, alarms.Details{})
	at(len(s.alarms)-1, "hill")
	r = s.writer().Rank(now)
	require.Equal(t, []string{"hill", "north-quay"}, []string{r.Sites[0].Site, r.Sites[1].Site})
	require.Zero(t, r.Sites[0].Days)
	golden(t, "order.csv", r.CSV())
	says(t, html(t, r.Document()), "critical: unit/x is not well.")

	s.alarms[len(s.alarms)-1].Hold = alarms.Hold{Reason: alarms.HoldPlannedWork, By: "upgrade"}
	require.Len(t, s.writer().Rank(now).Sites, 1, "people are there already")
}

// TestOrderFollowsTheNearerEndOfService: what the plan says it bears, or what
// the receiver needs; a loss of 3 dB is no end while one of them is known.
func TestOrderFollowsTheNearerEndOfService(t *testing.T) {
	const day = 24 * time.Hour
	s := faulty(2)
	for i := range s.units {
		u := &s.units[i]
		if pv := u.Points[rxDown]; len(pv.Forecasts) > 0 {
			made := pv.Forecasts[0].Made
			pv.Forecasts = append(pv.Forecasts,
				alarms.NewForecast(alarms.LimitService, 4, made, drift.Forecast{Lower: 60 * day, Middle: 90 * day, Upper: 150 * day}),
				alarms.NewForecast(alarms.LimitLoss, 3, made, drift.Forecast{Lower: 30 * day, Middle: 60 * day, Upper: 90 * day}))
			u.Points[rxDown] = pv
		}
	}
	r := s.writer().Rank(now)
	require.InDelta(t, 60-10.0/24, r.Sites[0].Days, 0.01)
	require.Contains(t, r.Sites[0].Reason, "what the service bears")
}

func BenchmarkBriefOf40Links(b *testing.B) {
	s := faulty(40)
	for _, format := range []string{"html", "pdf"} {
		b.Run(format, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				doc, err := s.writer().Site(b.Context(), "north-quay", now)
				require.NoError(b, err)
				if format == "pdf" {
					_, err = doc.Document().PDF(paper.A4)
				} else {
					_, err = doc.Document().HTML()
				}
				require.NoError(b, err)
			}
		})
	}
}
