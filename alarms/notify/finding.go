package notify

import "lightwell/alarms"

// Finding is what the diagnosis says of the cause of an alarm, when the event
// was made.
type Finding struct {
	Cause             string               `json:"cause"`
	Wording           alarms.Wording       `json:"wording"` // confirmed, very likely, likely, possible
	Text              string               `json:"text"`    // wording, cause, place and size in one sentence
	Resource          string               `json:"resource"`
	Place             string               `json:"place"`
	Direction         string               `json:"direction,omitempty"` // downlink or uplink, where it is one fibre
	Probability       float64              `json:"probability"`
	Evidence          []string             `json:"evidence,omitempty"`
	EvidenceOmitted   int                  `json:"evidence_omitted,omitempty"`
	Disproof          string               `json:"disproof,omitempty"`
	Deciding          string               `json:"deciding,omitempty"`
	Actions           []string             `json:"actions,omitempty"`
	Bring             []string             `json:"bring,omitempty"`
	Cautions          []string             `json:"cautions,omitempty"`
	CautionsShortened bool                 `json:"cautions_shortened,omitempty"`
	Others            []alarms.Alternative `json:"others,omitempty"`
}

// findingData returns what an event tells of a finding; nil: there is none.
func findingData(f *alarms.Finding) *Finding {
	if f == nil {
		return nil
	}
	return &Finding{
		Cause: f.Cause, Wording: f.Wording, Text: f.Sentence(), Resource: f.Resource, Place: f.Place, Direction: f.Direction,
		Probability: f.Probability, Evidence: f.Evidence, Disproof: f.Disproof, Deciding: f.Deciding,
		Actions: f.Actions, Bring: f.Bring, Cautions: f.Cautions, Others: f.Others,
	}
}

// cut returns the finding with that many items of each list and that many
// bytes of each text. Cautions that were cut say so.
func (f *Finding) cut(items, text int) *Finding {
	if f == nil {
		return nil
	}
	c := *f
	for _, s := range []*string{&c.Text, &c.Disproof, &c.Deciding} {
		*s = cut(*s, text)
	}
	for _, s := range []*string{&c.Resource, &c.Place} {
		*s = cut(*s, max(text, 256))
	}
	c.Evidence, c.EvidenceOmitted = cutList(f.Evidence, items, text)
	c.Actions, _ = cutList(f.Actions, items, text)
	c.Bring, _ = cutList(f.Bring, items, text)
	cautions, omitted := cutList(f.Cautions, items, text)
	c.Cautions, c.CautionsShortened = cautions, omitted > 0 || !equalLengths(cautions, f.Cautions)
	c.Others = f.Others[:min(len(f.Others), items)]
	return &c
}
