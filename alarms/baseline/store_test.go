package baseline_test

import (
	"encoding/json"
	"maps"

	"lightwell/alarms/baseline"
)

// store keeps records as bytes, as a disk would.
type store struct {
	rows [][]byte
	kept map[string]map[string][]byte
	fail error
	lost error // returned after the rows are stored
}

func (s *store) Append(records []baseline.Record) error {
	if s.fail != nil {
		return s.fail
	}
	for _, r := range records {
		row, err := json.Marshal(r)
		if err != nil {
			return err
		}
		s.rows = append(s.rows, row)
	}
	return s.lost
}

func (s *store) Records() ([]baseline.Record, error) {
	out := make([]baseline.Record, len(s.rows))
	for i, row := range s.rows {
		if err := json.Unmarshal(row, &out[i]); err != nil {
			return nil, err
		}
	}
	return out, s.fail
}

func (s *store) SaveRefinements(units map[string][]baseline.Refinement) error {
	if s.fail != nil {
		return s.fail
	}
	for unit, of := range units {
		body, err := json.Marshal(of)
		if err != nil {
			return err
		}
		s.keep("refined", unit, body)
	}
	return s.lost
}

func (s *store) Refinements() (out []baseline.Refinement, err error) {
	for _, body := range s.kept["refined"] {
		var of []baseline.Refinement
		if err := json.Unmarshal(body, &of); err != nil {
			return nil, err
		}
		out = append(out, of...)
	}
	return out, s.fail
}

func (s *store) SaveProgress(progress map[string][]byte) error {
	if s.fail != nil {
		return s.fail
	}
	for unit, body := range progress {
		s.keep("progress", unit, body)
	}
	return nil
}

func (s *store) Progress() (map[string][]byte, error) { return maps.Clone(s.kept["progress"]), s.fail }

func (s *store) keep(kind, unit string, body []byte) {
	if s.kept == nil {
		s.kept = map[string]map[string][]byte{"refined": {}, "progress": {}}
	}
	if s.kept[kind][unit] = body; body == nil {
		delete(s.kept[kind], unit)
	}
}
