package availability

import (
	"slices"
	"time"
)

// A Span is the time from From to before To.
type Span struct{ From, To time.Time }

// Length is how long the span is.
func (s Span) Length() time.Duration { return max(0, s.To.Sub(s.From)) }

// merge returns what any of the spans covers, sorted, none touching another.
func merge(all []Span) (out []Span) {
	all = slices.DeleteFunc(slices.Clone(all), func(s Span) bool { return s.Length() == 0 })
	slices.SortFunc(all, func(a, b Span) int { return a.From.Compare(b.From) })
	for _, s := range all {
		if n := len(out); n > 0 && !s.From.After(out[n-1].To) {
			out[n-1].To = later(out[n-1].To, s.To)
			continue
		}
		out = append(out, s)
	}
	return out
}

// within cuts merged spans to one.
func within(all []Span, of Span) (out []Span) {
	for _, s := range all {
		if s = (Span{later(s.From, of.From), earlier(s.To, of.To)}); s.Length() > 0 {
			out = append(out, s)
		}
	}
	return out
}

// minus takes merged spans out of merged spans.
func minus(all, out []Span) (left []Span) {
	for _, s := range all {
		for _, o := range out {
			if !o.To.After(s.From) || !o.From.Before(s.To) {
				continue
			}
			if o.From.After(s.From) {
				left = append(left, Span{s.From, o.From})
			}
			s.From = o.To
		}
		if s.Length() > 0 {
			left = append(left, s)
		}
	}
	return left
}

func sum(all []Span) (d time.Duration) {
	for _, s := range all {
		d += s.Length()
	}
	return d
}

func later(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}

func earlier(a, b time.Time) time.Time {
	if a.Before(b) {
		return a
	}
	return b
}
