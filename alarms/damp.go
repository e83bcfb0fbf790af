package alarms

import (
	"slices"
	"strings"
	"time"
	"unicode"
)

// A Step is a change of an alarm that evidence speaks for.
type Step string

// Steps.
const (
	StepNone   Step = ""
	StepRaise  Step = "raise"
	StepClear  Step = "clear"
	StepWorse  Step = "worse"  // severity up
	StepBetter Step = "better" // severity down
	StepReword Step = "reword" // another text
)

// Evidence is what the engine keeps of one alarm beside the list: how far a
// step has been confirmed, and what it must remember to judge the next one.
type Evidence struct {
	Step      Step        `json:"step,omitempty"`
	Text      string      `json:"text,omitempty"`     // of StepReword
	Polls     int         `json:"polls,omitempty"`    // that agree on Step, in a row
	Since     time.Time   `json:"since,omitzero"`     // first of them
	Seen      time.Time   `json:"seen,omitzero"`      // newest of them
	Given     Severity    `json:"given,omitzero"`     // severity that the rule gave last, before assignment
	Explained time.Time   `json:"explained,omitzero"` // when a cause explained the alarm last
	Raises    []time.Time `json:"raises,omitempty"`   // the latest, oldest first; for chattering

	stored time.Time // Explained as it was handed to the store last
}

func (ev *Evidence) clone() Evidence {
	c := *ev
	c.Raises, c.stored = slices.Clone(ev.Raises), time.Time{}
	return c
}

// storedEvery is how far Explained may run ahead of what is stored: it moves
// with every evaluation, and counts in units of symptomGrace.
const storedEvery = symptomGrace / 10

// same tells whether ev need not be stored again when before is stored.
func (ev *Evidence) same(before *Evidence) bool {
	return ev.Step == before.Step && ev.Text == before.Text && ev.Polls == before.Polls && ev.Since.Equal(before.Since) &&
		ev.Seen.Equal(before.Seen) && ev.Given == before.Given && slices.EqualFunc(ev.Raises, before.Raises, time.Time.Equal) &&
		ev.Explained.IsZero() == before.Explained.IsZero() && ev.Explained.Sub(ev.stored) < storedEvery
}

// chatter says what counts as chattering and how long a clear must then hold.
// The first row is that of alarm practice (three in a minute); polls are
// seldom dense enough to show it, so longer windows follow by the same idea:
// once an alarm has come back that often, a clear shorter than the usual
// distance between its raises means nothing.
var chatter = []struct {
	raises int
	within time.Duration
	hold   time.Duration
}{
	{3, time.Minute, 10 * time.Minute},
	{4, 15 * time.Minute, 30 * time.Minute},
	{5, 2 * time.Hour, 2 * time.Hour},
	{6, 24 * time.Hour, 4 * time.Hour},
}

// keptRaises is as many as the longest row of chatter needs.
const keptRaises = 6

// stretch returns how long a clear must hold after these raises; zero when
// the alarm does not chatter.
func stretch(raises []time.Time) time.Duration {
	var hold time.Duration
	for _, row := range chatter {
		if n := len(raises); n >= row.raises && raises[n-1].Sub(raises[n-row.raises]) <= row.within {
			hold = max(hold, row.hold)
		}
	}
	return hold
}

// weigh takes a verdict in and returns the step that is due, if any. cur is
// the alarm in the list, nil for none; severity is that of the verdict after
// assignment.
func (ev *Evidence) weigh(now time.Time, t *Type, cur *Alarm, v *Verdict, severity Severity) Step {
	step := stepOf(cur, v, severity)
	seen := v.Seen
	if seen.IsZero() || seen.After(now) {
		seen = now
	}
	switch {
	case step == StepNone:
		ev.rest()
		return StepNone
	case step != ev.Step || step == StepReword && !sameWords(ev.Text, v.Text):
		ev.Step, ev.Polls, ev.Since, ev.Seen = step, 1, seen, seen
	case !v.Seen.IsZero() && seen.After(ev.Seen):
		ev.Polls++
		ev.Seen = seen
	}
	if step == StepReword {
		ev.Text = v.Text
	}
	if d := ev.damping(t, v); ev.Polls < d.Polls || now.Sub(ev.Since) < d.For {
		return StepNone
	}
	return step
}

// rest forgets a step that is done or that evidence no longer speaks for.
func (ev *Evidence) rest() {
	ev.Step, ev.Text, ev.Polls, ev.Since, ev.Seen = StepNone, "", 0, time.Time{}, time.Time{}
}

// idle tells whether nothing in ev needs to be remembered.
func (ev *Evidence) idle(now time.Time) bool {
	n := len(ev.Raises)
	return ev.Step == StepNone && ev.Given == 0 && ev.Explained.IsZero() && (n == 0 || now.Sub(ev.Raises[n-1]) > 24*time.Hour)
}

func (ev *Evidence) raised(at time.Time) {
	if len(ev.Raises) >= keptRaises {
		ev.Raises = ev.Raises[len(ev.Raises)-keptRaises+1:]
	}
	ev.Raises = append(ev.Raises[:len(ev.Raises):len(ev.Raises)], at)
}

// damping returns what step needs. A text is taken over only when it stays, so
// that a figure that wavers does not fill the history.
func (ev *Evidence) damping(t *Type, v *Verdict) Damping {
	switch {
	case ev.Step == StepReword:
		return Damping{Polls: max(2, t.Raise.Polls), For: t.Raise.For}
	case ev.Step == StepBetter:
		return t.Clear
	case ev.Step == StepClear:
		return Damping{Polls: t.Clear.Polls, For: max(t.Clear.For, stretch(ev.Raises))}
	case v.Direct:
		return Damping{}
	}
	return t.Raise
}

func stepOf(cur *Alarm, v *Verdict, severity Severity) Step {
	active := cur != nil && !cur.Cleared
	switch {
	case v.Active && !active:
		return StepRaise
	case !v.Active && active:
		return StepClear
	case !active:
		return StepNone
	case severity > cur.Severity:
		return StepWorse
	case severity < cur.Severity:
		return StepBetter
	case v.Text != "" && !v.Steady && !sameWords(v.Text, cur.Text):
		return StepReword
	}
	return StepNone
}

// sameWords tells whether two texts differ in nothing but decimal fractions:
// a measured value in a text is that of the time when it was written, and no
// reason to write it anew. Whole numbers count as words.
func sameWords(a, b string) bool {
	return a == b || withoutFractions(a) == withoutFractions(b)
}

func withoutFractions(text string) string {
	words := strings.FieldsFunc(text, func(r rune) bool {
		return !unicode.IsLetter(r) && !unicode.IsDigit(r) && r != '.' && r != '-' && r != '/'
	})
	for i, w := range words {
		w = strings.TrimRight(w, ".")
		whole, fraction, ok := strings.Cut(strings.TrimLeft(w, "-"), ".")
		if ok && digits(whole) && digits(fraction) {
			w = "#"
		}
		words[i] = w
	}
	return strings.Join(words, " ")
}

func digits(s string) bool {
	return s != "" && strings.Trim(s, "0123456789") == ""
}
