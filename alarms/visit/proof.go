package visit

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"lightwell/collector"
)

// A Proof is what a visit can show for itself: what was done, which alarms it
// ended, and every level before and after.
type Proof struct {
	Visit
	Made       time.Time `json:"made"`
	SiteName   string    `json:"site_name"`
	Address    string    `json:"address,omitempty"`
	Lines      []Line    `json:"levels"`
	Cleared    []Alarm   `json:"alarms_cleared" doc:"Raised before, no longer after."`
	Remaining  []Alarm   `json:"alarms_remaining" doc:"Raised before and after."`
	New        []Alarm   `json:"alarms_new" doc:"Raised after, not before."`
	Conclusion string    `json:"conclusion"`
	// Rebaseline are units whose levels moved and are now off their baseline,
	// and those that were exchanged.
	Rebaseline []string `json:"rebaseline" doc:"Units that need a new baseline, if what they read now is right."`
}

// Proof returns the proof of a visit, as far as it is known at now.
func (b *Book) Proof(id string, now time.Time) (Proof, error) {
	v, err := b.cfg.Store.Visit(id)
	if err != nil {
		return Proof{}, err
	}
	return b.proof(v, utc(now)), nil
}

func (b *Book) proof(v Visit, now time.Time) Proof {
	p := Proof{Visit: v, Made: now, Lines: []Line{}, Cleared: []Alarm{}, Remaining: []Alarm{}, New: []Alarm{}, Rebaseline: []string{}}
	site, _ := b.cfg.Fleet().Site(v.Site)
	if p.SiteName, p.Address = site.Name, site.Address; p.SiteName == "" {
		p.SiteName = v.Site
	}
	if v.State == Open {
		p.Lines, p.Conclusion = Compare(v.Before, nil), "The visit is open; it is compared once it has ended."
		for i := range p.Lines {
			p.Lines[i].Verdict = ""
		}
		return p
	}
	p.Lines = Compare(v.Before, v.After)
	p.sortAlarms()
	p.offer()
	p.Conclusion = p.conclude()
	return p
}

func (p *Proof) sortAlarms() {
	has := func(list []Alarm, a Alarm) bool {
		return slices.ContainsFunc(list, func(b Alarm) bool { return a.ID == b.ID })
	}
	for _, a := range p.AlarmsBefore {
		if !has(p.AlarmsAfter, a) {
			p.Cleared = append(p.Cleared, a)
		}
	}
	for _, a := range p.AlarmsAfter {
		if has(p.AlarmsBefore, a) {
			p.Remaining = append(p.Remaining, a)
		} else {
			p.New = append(p.New, a)
		}
	}
}

// offer names the units that need a new baseline. A level that is back where
// its baseline is needs none.
func (p *Proof) offer() {
	p.Rebaseline = append(p.Rebaseline, p.Exchanged...)
	for i := range p.Lines {
		if l := &p.Lines[i]; l.Off && l.Verdict != Same && l.Verdict != Appeared {
			p.Rebaseline = append(p.Rebaseline, l.Unit)
		}
	}
	slices.Sort(p.Rebaseline)
	p.Rebaseline = slices.Compact(p.Rebaseline)
}

// Touched returns the units whose light moved, and those that were exchanged:
// what is slow at them is measured anew from the visit on.
func (p *Proof) Touched() []string {
	out := slices.Clone(p.Exchanged)
	for i := range p.Lines {
		l := &p.Lines[i]
		optical := l.Point.Quantity == collector.OpticalReceivePower || l.Point.Quantity == collector.OpticalTransmitPower
		if optical && slices.Contains([]Verdict{Better, Worse, Moved}, l.Verdict) {
			out = append(out, l.Unit)
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// Count returns how many points have one of the verdicts.
func (p *Proof) Count(of ...Verdict) int {
	n := 0
	for i := range p.Lines {
		if slices.Contains(of, p.Lines[i].Verdict) {
			n++
		}
	}
	return n
}

func (p *Proof) conclude() string {
	parts := []string{
		counted(len(p.Cleared), "alarm") + " ended", counted(len(p.Remaining), "alarm") + " still there", counted(len(p.New), "new alarm"),
		counted(p.Count(Better), "level") + " better", counted(p.Count(Worse, Gone), "level") + " worse or no longer read",
	}
	if n := p.Count(Moved); n > 0 {
		parts = append(parts, counted(n, "level")+" moved")
	}
	text := strings.Join(parts, ", ") + "."
	switch {
	case len(p.New) > 0 || p.Count(Worse, Gone) > 0:
		text = "Look at it again: " + text
	case len(p.Remaining) > 0:
		text = "Not all is done: " + text
	}
	text = strings.ToUpper(text[:1]) + text[1:]
	if p.State == Settling {
		text += fmt.Sprintf(" Provisional: the levels after the visit are read until %s.", stamp(p.Ended.Add(settleTime)))
	}
	return text
}

func counted(n int, word string) string {
	if n == 1 {
		return "1 " + word
	}
	return fmt.Sprintf("%d %ss", n, word)
}
