package brief

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"lightwell/alarms"
)

// A Job is one thing that is wrong at a site: a finding with the alarms that
// it explains, or an alarm that no finding explains.
type Job struct {
	Title    string          `json:"title" doc:"What is wrong and where, in one sentence."`
	Severity alarms.Severity `json:"severity" doc:"Of the worst of its alarms."`
	Since    time.Time       `json:"since"`
	Links    []string        `json:"links,omitempty" doc:"Links that it touches."`
	Evidence []string        `json:"evidence,omitempty" doc:"What speaks for it, and against it."`
	Others   []string        `json:"others,omitempty" doc:"Other causes that could explain the same signs."`
	Disproof string          `json:"disproof,omitempty" doc:"What would disprove it."`
	Measure  string          `json:"measure,omitempty" doc:"The measurement to make first."`
	Actions  []string        `json:"actions,omitempty"`
	Bring    []string        `json:"bring,omitempty"`
	Cautions []string        `json:"cautions,omitempty"`
	Alarms   []string        `json:"alarms" doc:"Ids of its alarms."`
	Texts    []string        `json:"alarm_texts" doc:"What its alarms say."`
	Held     string          `json:"held,omitempty" doc:"Why its alarms are silent: planned work, or a shelf."`
	NoVisit  bool            `json:"no_visit,omitempty" doc:"Nobody has to go there for it."`
}

// jobs makes the jobs of raised alarms, the most urgent first. Consequences of
// another alarm are no jobs of their own.
func jobs(list []alarms.Alarm) []Job {
	var out []Job
	at := map[[2]string]int{}
	for _, a := range list {
		if a.Cleared || a.Hold.Reason == alarms.HoldSymptom {
			continue
		}
		f := a.Details.Finding
		if f == nil {
			out = append(out, fromAlarm(&a))
			continue
		}
		key := [2]string{f.Cause, f.Resource}
		i, known := at[key]
		if !known {
			i = len(out)
			at[key] = i
			out = append(out, fromFinding(f))
		}
		out[i].take(&a)
	}
	slices.SortStableFunc(out, func(a, b Job) int {
		return cmp.Or(cmp.Compare(b.Severity, a.Severity), a.Since.Compare(b.Since), cmp.Compare(a.Title, b.Title))
	})
	return out
}

// mostOthers is how many other causes a person wants to keep in mind.
const mostOthers = 3

func fromFinding(f *alarms.Finding) Job {
	j := Job{
		Title: f.Sentence(), Since: f.Since, Evidence: slices.Clone(f.Evidence), Disproof: f.Disproof, Measure: sentence(f.Deciding),
		Actions: f.Actions, Bring: f.Bring, Cautions: f.Cautions, NoVisit: f.NoVisit,
	}
	j.touch(f.Links...)
	for _, o := range f.Others[:min(len(f.Others), mostOthers)] { // best first
		j.Others = append(j.Others, o.Title+": "+o.Place)
	}
	return j
}

func fromAlarm(a *alarms.Alarm) Job {
	k := kits[a.Type]
	j := Job{Title: a.Text, Measure: k.measure, Actions: a.Details.Actions, Bring: k.bring, Cautions: a.Details.Cautions}
	j.take(a)
	return j
}

// take counts an alarm to the job.
func (j *Job) take(a *alarms.Alarm) {
	j.Alarms = append(j.Alarms, a.ID)
	j.Texts = union(j.Texts, []string{a.Text})
	j.Severity = max(j.Severity, a.Severity)
	if j.Since.IsZero() || a.LastRaised.Before(j.Since) {
		j.Since = a.LastRaised
	}
	for _, r := range append([]string{a.Resource}, a.Details.Impacted...) {
		if id, is := strings.CutPrefix(r, "link/"); is {
			j.touch(id)
		}
	}
	switch {
	case a.Hold.Reason != "":
		j.Held = a.Hold.Reason + ", " + a.Hold.By
	case a.ShelfName != "":
		j.Held = "shelved: " + a.ShelfName
	}
	j.Cautions = union(j.Cautions, a.Details.Cautions)
}

func (j *Job) touch(links ...string) {
	for _, l := range links {
		j.Links = union(j.Links, []string{strings.TrimPrefix(l, "link/")})
	}
	slices.Sort(j.Links)
}

// sentence begins a text with a capital letter.
func sentence(text string) string {
	if text == "" {
		return text
	}
	return strings.ToUpper(text[:1]) + text[1:]
}

// union returns the lines of lists, each once, in the order in which they
// come.
func union(lists ...[]string) []string {
	var out []string
	for _, list := range lists {
		for _, line := range list {
			if line != "" && !slices.Contains(out, line) {
				out = append(out, line)
			}
		}
	}
	return out
}
