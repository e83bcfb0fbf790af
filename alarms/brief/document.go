package brief

import (
	"fmt"
	"strings"
	"time"

	"lightwell/alarms/brief/paper"
	"lightwell/alarms/chart"
	"lightwell/alarms/visit"
)

// Document sets the brief for people who go there.
func (b *Brief) Document() *paper.Document {
	s := b.scene
	d := &paper.Document{
		Title: "Visit brief: " + b.Name, Subtitle: "State of " + s.local(b.Made) + ". Times are those of the site.",
		Foot: "Visit brief " + b.Site + ", " + s.local(b.Made), Made: b.Made,
	}
	b.whatIsWrong(d)
	b.whatToDo(d)
	b.gettingThere(d)
	b.figures(d)
	b.pictures(d)
	b.form(d)
	return d
}

func (b *Brief) whatIsWrong(d *paper.Document) {
	d.Add(paper.Heading{Text: "What is wrong", Level: 1})
	if len(b.Jobs) == 0 {
		d.Add(paper.Text{Text: "No alarm is raised at this site. The figures and pictures below are for a routine visit."})
	}
	for i := range b.Jobs {
		j := &b.Jobs[i]
		d.Add(paper.Heading{Text: fmt.Sprintf("%d. %s", i+1, j.Title), Level: 2}, b.aboutJob(j))
		if len(j.Actions) > 0 {
			d.Add(paper.List{Items: j.Actions, Boxes: true})
		}
	}
}

// aboutJob is all but what to do.
func (b *Brief) aboutJob(j *Job) paper.Facts {
	f := paper.Facts{{Name: "Severity", Says: j.Severity.String() + ", since " + b.scene.local(j.Since)}}
	add := func(name, says string) {
		if says != "" {
			f = append(f, paper.Fact{Name: name, Says: says})
		}
	}
	if len(j.Texts) > 1 || len(j.Texts) == 1 && j.Texts[0] != j.Title {
		add("Raised", strings.Join(j.Texts, "\n"))
	}
	add("Links", strings.Join(j.Links, ", "))
	add("What speaks for it", strings.Join(j.Evidence, "\n"))
	add("It could also be", strings.Join(j.Others, "\n"))
	add("Disproved if", j.Disproof)
	add("Decided by", j.Measure)
	add("Silent", j.Held)
	if j.NoVisit {
		add("Visit", "Nobody has to go there for it.")
	}
	return f
}

func (b *Brief) whatToDo(d *paper.Document) {
	if len(b.Cautions) > 0 {
		d.Add(paper.Cautions{Title: "Safety in this work", Items: b.Cautions})
	}
	d.Add(paper.Heading{Text: "Measure first", Level: 1}, paper.List{Items: b.Measure, Numbers: true})
	if len(b.Bring) > 0 {
		d.Add(paper.Heading{Text: "Bring", Level: 1}, paper.List{Items: b.Bring, Boxes: true})
	}
}

// lastVisits is how many earlier visits a brief tells of.
const lastVisits = 5

func (b *Brief) gettingThere(d *paper.Document) {
	facts := paper.Facts{{Name: "Address", Says: named(b.Address, "not noted in the fleet file")}, {Name: "Access", Says: named(b.Access, "nothing noted in the fleet file")}}
	for _, w := range b.Planned {
		facts = append(facts, paper.Fact{Name: "Planned work", Says: w})
	}
	for i := range b.Visits[:min(len(b.Visits), lastVisits)] {
		v := &b.Visits[i]
		name := "Earlier visit"
		if v.State == visit.Open {
			name = "Visit under way"
		}
		facts = append(facts, paper.Fact{Name: name, Says: b.aboutVisit(v)})
	}
	d.Add(paper.Heading{Text: "Getting there", Level: 1}, facts)
}

func (b *Brief) aboutVisit(v *visit.Visit) string {
	says := b.scene.day(v.Begun) + ", " + v.By + ": " + v.Reason
	if v.Found != "" {
		says += "\nFound: " + v.Found
	}
	if v.Done != "" {
		says += "\nDone: " + v.Done
	}
	return says
}

func (b *Brief) figures(d *paper.Document) {
	if len(b.Links) == 0 {
		return
	}
	t := paper.Table{
		Head:   []string{"Link", "Direction", "Receives at", "Now, dBm", "Baseline", "Lost, dB", "dB a month", "If it goes on so"},
		Shares: []float64{1.7, 1.1, 1.7, 0.9, 0.9, 0.8, 0.9, 2}, Right: []int{3, 4, 5, 6},
	}
	for _, l := range b.Links {
		t.Rows = append(t.Rows, []string{named(l.Name, l.Link), l.Direction, l.Unit, figure(l.DBm, 1), figure(l.Baseline, 1), figure(l.LostDB, 1), figure(l.MonthDB, 2), l.Forecast})
	}
	d.Add(paper.Heading{Text: "Receive power of each link", Level: 1}, t)
	var left []string
	for _, m := range b.Margins {
		if m.LostDB >= 0.5 || m.LeftDB < 3 {
			left = append(left, m.Link+", "+m.Direction+": "+m.Says+".")
		}
	}
	if len(left) > 0 {
		d.Add(paper.Heading{Text: "What is left", Level: 2}, paper.List{Items: left})
	}
	if b.Note != "" {
		d.Add(paper.Text{Text: b.Note, Small: true})
	}
}

// figure writes a number, or a dash when it is not known.
func figure(v *float64, digits int) string {
	if v == nil {
		return "\u2013"
	}
	return signed(*v, digits)
}

func (b *Brief) pictures(d *paper.Document) {
	if len(b.trends) == 0 {
		return
	}
	d.Add(paper.Heading{Text: "Since commissioning", Level: 1})
	if b.hasForecast() {
		d.Add(paper.Text{Text: "The red field is the forecast: where the level is likely to go (80 of 100 cases), if it goes on as it does.", Small: true})
	}
	for _, t := range b.trends {
		size := chart.Half
		if t.affected {
			size = chart.Wide
		} else {
			t.of.Temperature = nil // a link that is well needs less of the page
		}
		d.Add(paper.Picture{Of: t.of, Size: size, Says: t.says})
	}
}

func (b *Brief) hasForecast() bool {
	for _, t := range b.trends {
		if t.of.Outlook != nil {
			return true
		}
	}
	return false
}

// emptyRows is how many rows the form has for meter readings, at least.
const emptyRows = 6

func (b *Brief) form(d *paper.Document) {
	t := paper.Table{
		Head:   []string{"Link, direction", "Plug at", "Shown before, dBm", "Meter before, dBm", "Meter after, dBm", "Shown after, dBm"},
		Shares: []float64{2, 1.6, 1.1, 1.1, 1.1, 1.1},
	}
	for _, l := range b.Links {
		if l.Affected {
			t.Rows = append(t.Rows, []string{named(l.Name, l.Link) + ", " + l.Direction, l.Unit, figure(l.DBm, 1), "", "", ""})
		}
	}
	for len(t.Rows) < emptyRows {
		t.Rows = append(t.Rows, make([]string, len(t.Head)))
	}
	d.Add(paper.PageBreak{}, paper.Heading{Text: "Found and done", Level: 1}, t, paper.Form{
		{Name: "What was found", Lines: 4},
		{Name: "What was done", Lines: 4},
		{Name: "Exchanged: unit, old and new serial number", Lines: 2},
		{Name: "Still open", Lines: 2},
		{Name: "Arrived, left; name and signature"},
	}, paper.Text{Text: "Record it: lightwell visit begin " + b.Site + " on arrival, lightwell visit end when done. Meanwhile the alarms of the site are held back, and before and after are compared.", Small: true})
}

// Stamp is the file name of a document of that kind, without its ending.
func Stamp(kind, of string, at time.Time) string {
	return kind + "-" + of + "-" + at.UTC().Format("20060102-1504")
}
