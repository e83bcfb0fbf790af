package brief_test

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/baseline"
	"lightwell/alarms/brief"
	"lightwell/alarms/caution"
	"lightwell/alarms/drift"
	"lightwell/alarms/rules"
	"lightwell/alarms/visit"
	"lightwell/collector"
	"lightwell/collector/history"
	"lightwell/collector/state"
)

var (
	zone      = time.FixedZone("WET", 0)
	now       = time.Date(2026, 11, 25, 10, 30, 0, 0, time.UTC)
	accepted  = time.Date(2026, 3, 2, 9, 15, 0, 0, time.UTC)
	rxDown    = collector.Point{Quantity: collector.OpticalReceivePower}
	txPower   = collector.Point{Quantity: collector.OpticalTransmitPower}
	caseTemp  = collector.Point{Quantity: collector.Temperature}
	leastDBm  = -14.0
	nominal   = 3.0
	faultFrom = now.Add(-90 * 24 * time.Hour)
)

// stage is a fleet of one site and as many links as wanted, each with two
// fibres; the first loses light in its downlink.
type stage struct {
	fleet   *collector.Fleet
	units   []alarms.UnitView
	alarms  []alarms.Alarm
	records map[string][]baseline.Record
	visits  []visit.Visit
	rows    []state.ChangeRow // oldest first
	broken  bool              // the history
	sources brief.Sources
}

func newStage(links int) *stage {
	s := &stage{records: map[string][]baseline.Record{}}
	f := collector.Fleet{Sites: []collector.Site{
		{ID: "north-quay", Name: "North Quay", Address: "1 Quay Street", Access: "Key at the gate, call 24 h before.\nRoof hatch on level 9.", Location: zone},
		{ID: "hill", Name: "Hill House", Location: zone},
	}}
	equipment := collector.Equipment{
		Model: "rack-dual-supply", Points: []collector.Point{rxDown, txPower, caseTemp},
		Limits: collector.Limits{ReceivePowerMinDBm: &leastDBm}, Optics: collector.Optics{TransmitPowerDBm: &nominal, TransmitSpreadDB: 0.3, MonitorErrorDB: 1},
	}
	f.Cables = []collector.Cable{{ID: "riser-1", Site: "north-quay", LengthM: 420}}
	for i := 1; i <= links; i++ {
		roof, room := fmt.Sprintf("roof-%d", i), fmt.Sprintf("room-%d", i)
		f.Units = append(f.Units,
			collector.Unit{ID: roof, Site: "north-quay", Role: collector.Outdoor, Equipment: equipment},
			collector.Unit{ID: room, Site: "north-quay", Role: collector.Indoor, Equipment: equipment})
		path := collector.Path{Cable: "riser-1", Strand: 2*i - 1, WavelengthNM: 1310, Connectors: 4, Splices: 2}
		back := path
		back.Strand++
		f.Links = append(f.Links, collector.Link{ID: fmt.Sprintf("nq-%d", i), Name: fmt.Sprintf("Hall %d", i), Outdoor: roof, Indoor: room, Use: collector.Repeater, Services: []string{"GNSS"}, Downlink: path, Uplink: back})
		s.unit(roof, 1.7, 0)
		lost := 0.0
		if i == 1 {
			lost = 3.1
		}
		s.unit(room, 1.6, lost)
	}
	s.fleet = collector.NewFleet(f)
	for i := range s.units {
		s.units[i].Unit, _ = s.fleet.Unit(s.units[i].Unit.ID)
	}
	s.sources = brief.Sources{
		Fleet: func() *collector.Fleet { return s.fleet }, Units: func() []alarms.UnitView { return s.units },
		Alarms: s.list, Baselines: func(unit string) []baseline.Record { return s.records[unit] },
		History: s, Visits: func(visit.Filter) ([]visit.Visit, error) { return s.visits, nil },
		Changes: s.changes, Version: "test",
	}
	return s
}

// unit adds a unit that received level dBm when it was accepted.
func (s *stage) unit(id string, level, lost float64) {
	levels := map[collector.Point]baseline.Level{
		rxDown:  {Value: level, Spread: 0.02, Samples: 200, CapturedAt: accepted},
		txPower: {Value: 3.1, Spread: 0.01, Samples: 200, CapturedAt: accepted},
	}
	s.records[id] = []baseline.Record{{Unit: id, Version: 1, Model: "rack-dual-supply", Begun: accepted.Add(-15 * time.Minute), Accepted: accepted, By: "kim", Levels: levels}}
	good := func(p collector.Point, v float64) collector.Reading {
		return collector.Reading{Unit: id, Point: p, Value: v, Taken: now.Add(-5 * time.Second)}
	}
	received := levels[rxDown]
	sent := levels[txPower]
	pv := alarms.PointView{Reading: good(rxDown, level-lost), Baseline: &received, Deviation: -lost, Compared: true}
	if lost > 0 {
		pv.Trend = &drift.Trend{Drift: true, SlopeDBPerMonth: 1.02, FirstBaseline: level, Baseline: level, Since: faultFrom}
		pv.Forecasts = []alarms.Forecast{{Limit: alarms.LimitReceiver, LossDB: level - leastDBm, Made: now.Add(-10 * time.Hour), Forecast: drift.Forecast{Lower: 190 * 24 * time.Hour, Middle: 300 * 24 * time.Hour, Upper: 500 * 24 * time.Hour}}}
	}
	s.units = append(s.units, alarms.UnitView{
		Unit: collector.Unit{ID: id}, Polled: now, LastSuccess: now, Baselined: true,
		Points: map[collector.Point]alarms.PointView{
			rxDown: pv, txPower: {Reading: good(txPower, 3.1), Baseline: &sent, Compared: true}, caseTemp: {Reading: good(caseTemp, 24.5)},
		},
	})
}

func (s *stage) list(f alarms.Filter) (out []alarms.Alarm) {
	for _, a := range s.alarms {
		if (f.Site == "" || f.Site == a.Site) && (f.Clearance != alarms.ClearanceNotCleared || !a.Cleared) && (f.Shelving == alarms.ShelvingAny || a.ShelfName == "") {
			out = append(out, a)
		}
	}
	return out
}

// Query implements history.Source: what each unit received since March.
func (s *stage) Query(_ context.Context, q history.Query) ([]history.Series, error) {
	if s.broken {
		return nil, errors.New("disk on fire")
	}
	level, ok := s.records[q.Unit][0].Levels[rxDown]
	if !ok {
		return nil, nil
	}
	rx, temp := history.Series{Point: rxDown}, history.Series{Point: caseTemp}
	for at := q.From.Truncate(q.Step); at.Before(q.To); at = at.Add(q.Step) {
		days := at.Sub(accepted).Hours() / 24
		v := level.Value + 0.05*math.Sin(days)
		if q.Unit == "room-1" && at.After(faultFrom) {
			v -= 3.1 * at.Sub(faultFrom).Hours() / now.Sub(faultFrom).Hours()
		}
		warm := 22 + 8*math.Sin(days/58)
		rx.Samples = append(rx.Samples, history.Sample{Time: at, Value: v, Min: v - 0.06, Max: v + 0.05, Count: 8})
		temp.Samples = append(temp.Samples, history.Sample{Time: at, Value: warm, Min: warm - 3, Max: warm + 4, Count: 8})
	}
	return []history.Series{rx, temp}, nil
}

func (s *stage) changes(_ context.Context, f state.Filter) (out []state.ChangeRow, err error) {
	for _, r := range slices.Backward(s.rows) {
		if f.Site != "" && r.Site != f.Site || f.NoSite && r.Site != "" {
			continue
		}
		if !f.Since.IsZero() && r.Time.Before(f.Since) || f.Before != 0 && r.Entry >= f.Before || len(out) == f.Limit {
			continue
		}
		out = append(out, r)
	}
	return out, nil
}

// told adds lines to the log, given oldest first.
func (s *stage) told(t *testing.T, rows ...state.ChangeRow) {
	t.Helper()
	for _, r := range rows {
		r.Entry = uint64(len(s.rows) + 1)
		s.rows = append(s.rows, r)
	}
}

// line is a line of the log about an alarm.
func line(t *testing.T, at time.Time, kind alarms.ChangeKind, b alarms.Brief) state.ChangeRow {
	t.Helper()
	body, err := json.Marshal(b)
	require.NoError(t, err)
	return state.ChangeRow{Time: at, Kind: string(kind), AlarmID: alarms.NewID(b.Key), Site: "north-quay", Body: body}
}

// raise adds an alarm.
func (s *stage) raise(resource, typ string, severity alarms.Severity, d alarms.Details) *alarms.Alarm {
	k := alarms.Key{Resource: resource, Type: typ}
	s.alarms = append(s.alarms, alarms.Alarm{
		Key: k, ID: alarms.NewID(k), Site: "north-quay", Severity: severity, Text: resource + " is not well. First look at it.",
		LastRaised: faultFrom.Add(time.Duration(len(s.alarms)) * time.Hour), Details: d,
	})
	return &s.alarms[len(s.alarms)-1]
}

// dirty is a finding at the first link.
func dirty() *alarms.Finding {
	size := 3.1
	return &alarms.Finding{
		Cause: "dirty-connector", Title: "Dirty or loose connector", Wording: alarms.Likely, Resource: "link/nq-1", Place: "downlink of nq-1, strand 1 of riser-1, at room-1",
		Size: &size, Unit: "dB", Since: faultFrom, Links: []string{"nq-1"},
		Evidence: []string{"receive power of room-1 is 3.1 dB below its baseline", "transmit power of roof-1 is as it was", "RF level fell by 6.0 dB, two for one"},
		Disproof: "a meter at the plug of room-1 that shows 1.6 dBm", Deciding: "Receive power at the plug of room-1 at 1310 and 1550 nm: 1550 clearly worse means a bend.",
		Actions: []string{"Inspect and clean both ends of strand 1, key aligned.", "Seat the plugs again and read the level.", "If it stays low, look along the route for a bend."},
		Bring:   []string{"video microscope with APC tip", "one-click cleaner", "spare FC/APC jumper"}, Cautions: caution.Path,
		Others: []alarms.Alternative{{Title: "Bend or squeezed cable", Place: "strand 1 of riser-1"}},
	}
}

// faulty is a stage at which a connector is dirty and a supply has failed.
func faulty(links int) *stage {
	s := newStage(links)
	s.raise("unit/room-1/optical_receive_power", rules.Drift, alarms.Minor, alarms.Details{Finding: dirty(), Impacted: []string{"link/nq-1"}})
	s.raise("link/nq-1", rules.ServiceMarginLow, alarms.Minor, alarms.Details{Finding: dirty(), Impacted: []string{"link/nq-1"}})
	s.raise("unit/room-2/supply_state/b", rules.SupplyRedundancy, alarms.Minor, alarms.Details{Actions: []string{"Measure the feed of supply b."}, Cautions: caution.Mains, BackedUp: true})
	s.raise("unit/room-2", rules.UnitUnreachable, alarms.Major, alarms.Details{}).Hold = alarms.Hold{Reason: alarms.HoldSymptom, By: "cable/riser-1"}
	s.visits = []visit.Visit{{ID: "v3", Site: "north-quay", State: visit.Closed, By: "Kim", Reason: "inspection", Resources: []string{"site/north-quay"}, Begun: accepted.Add(70 * 24 * time.Hour), Ended: accepted.Add(70*24*time.Hour + 2*time.Hour), Found: "nothing", Done: "tightened the ties"}}
	return s
}

func (s *stage) writer() *brief.Writer { return brief.New(s.sources) }
