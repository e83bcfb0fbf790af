package brief

import (
	"bytes"
	"encoding/csv"
	"strconv"
	"time"
)

// table writes rows as CSV. A cell that a spreadsheet would take for a formula
// gets a quote before it.
func table(head []string, rows [][]string) []byte {
	var out bytes.Buffer
	w := csv.NewWriter(&out)
	_ = w.Write(head) // a buffer takes everything
	for _, row := range rows {
		for i, cell := range row {
			row[i] = harmless(cell)
		}
		_ = w.Write(row)
	}
	w.Flush()
	return out.Bytes()
}

func harmless(cell string) string {
	if cell == "" {
		return cell
	}
	if _, err := strconv.ParseFloat(cell, 64); err == nil {
		return cell
	}
	switch cell[0] {
	case '=', '+', '-', '@', '\t', '\r':
		return "'" + cell
	}
	return cell
}

func exact(v *float64) string {
	if v == nil {
		return ""
	}
	return strconv.FormatFloat(*v, 'f', 3, 64)
}

// CSV returns the figures of the brief, one row for each direction of a link.
func (b *Brief) CSV() []byte {
	left := map[string]*float64{}
	for i := range b.Margins {
		left[b.Margins[i].Link+"/"+b.Margins[i].Direction] = &b.Margins[i].LeftDB
	}
	rows := make([][]string, len(b.Links))
	for i, l := range b.Links {
		rows[i] = []string{
			b.Made.UTC().Format(time.RFC3339), b.Site, l.Link, l.Name, l.Direction, l.Unit, l.Point,
			exact(l.DBm), exact(l.Baseline), exact(l.LostDB), exact(l.MonthDB), exact(left[l.Link+"/"+l.Direction]), l.Forecast, strconv.FormatBool(l.Affected),
		}
	}
	return table([]string{"time", "site", "link", "name", "direction", "unit", "point", "receive_power_dbm", "baseline_dbm", "lost_db", "db_per_month", "left_db", "forecast", "affected"}, rows)
}

// CSV returns the order of visits.
func (r *Ranking) CSV() []byte {
	rows := make([][]string, len(r.Sites))
	for i, s := range r.Sites {
		rows[i] = []string{strconv.Itoa(i + 1), s.Site, s.Name, s.Severity.String(), strconv.Itoa(s.Jobs), strconv.FormatFloat(s.Days, 'f', 1, 64), s.Reason}
	}
	return table([]string{"place", "site", "name", "severity", "jobs", "days_left", "reason"}, rows)
}

// CSV returns the figures of all links.
func (a *Availability) CSV() []byte {
	rows := make([][]string, len(a.Links))
	for i := range a.Links {
		f := &a.Links[i]
		rows[i] = []string{
			a.Site, a.Month, f.Link, exact(f.Percent), strconv.Itoa(f.Outages), minutes(f.Minutes), minutes(f.LongestM), minutes(f.PlannedM), minutes(f.UnknownM),
		}
	}
	return table([]string{"site", "month", "link", "percent", "outages", "minutes_lost", "longest_outage_minutes", "planned_work_minutes", "unknown_minutes"}, rows)
}

func minutes(v float64) string { return strconv.FormatFloat(v, 'f', 1, 64) }
