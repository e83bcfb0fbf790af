package diagnosis_test

import (
	"math"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/baseline"
	"lightwell/alarms/diagnosis"
	"lightwell/collector"
	"lightwell/collector/document"
	"lightwell/collector/model"
)

// byHand is a case of testdata/cases.yaml.
type byHand struct {
	Name        string                       `yaml:"name,required"`
	Row         int                          `yaml:"row"`
	Basis       string                       `yaml:"basis,required"`
	Links       int                          `yaml:"links"`
	Cables      []string                     `yaml:"cables"`
	Via         bool                         `yaml:"via"`
	Wavelengths map[string]float64           `yaml:"wavelengths"`
	Course      string                       `yaml:"course"`   // step, ramp, comes or daily
	Move        map[string]float64           `yaml:"move"`     // deviations
	Set         map[string]float64           `yaml:"set"`      // values
	Baseline    map[string]float64           `yaml:"baseline"` // values
	Say         map[string]string            `yaml:"say"`      // states
	Unsteady    map[string]float64           `yaml:"unsteady"` // standard deviation from reading to reading
	Dark        []string                     `yaml:"dark"`     // receivers
	Silent      []string                     `yaml:"silent"`   // units that do not answer
	Mute        []string                     `yaml:"mute"`     // units of which the reader knows nothing
	Restarted   map[string]document.Duration `yaml:"restarted"`
	Missing     []string                     `yaml:"missing"`
	Meter       map[string]float64           `yaml:"meter"`
	Work        []string                     `yaml:"work"`
	Exchanged   string                       `yaml:"exchanged"`
	Want        *byHandWant                  `yaml:"want"`
}

type byHandWant struct {
	Cause     string `yaml:"cause,required"`
	Resource  string `yaml:"resource,required"`
	Direction string `yaml:"direction"`
	Wording   string `yaml:"wording"`
	Among     string `yaml:"among"` // must be named as another cause, with what decides
	Also      string `yaml:"also"`  // cause of another finding
}

// usual are what points read when all is well, with their noise.
var usual = map[collector.Quantity]baseline.Level{
	collector.OpticalReceivePower:  {Value: -3, Spread: 0.03},
	collector.OpticalTransmitPower: {Value: 0, Spread: 0.02},
	collector.LaserBias:            {Value: 23, Spread: 0.05},
	collector.RFInputLevel:         {Value: -50, Spread: 0.15},
	collector.RFOutputLevel:        {Value: -40, Spread: 0.2},
	collector.RFNoiseFloor:         {Value: -120, Spread: 0.2},
	collector.LNACurrent:           {Value: 60, Spread: 0.3},
	collector.SupplyVoltage:        {Value: 24, Spread: 0.02},
	collector.Temperature:          {Value: 25},
	collector.Uptime:               {Value: 40 * 86400},
	collector.AGCAttenuation:       {Value: 8, Spread: 0.1},
}

// TestByHand judges cases that no simulated plant has made.
func TestByHand(t *testing.T) {
	data, err := os.ReadFile("testdata/cases.yaml")
	require.NoError(t, err)
	file, faults := document.Parse("cases.yaml", data)
	require.NoError(t, faults.Err())
	var all []byHand
	require.NoError(t, file.Decode(&all).Err())
	require.GreaterOrEqual(t, len(all), 40)
	rowsSeen := map[int]bool{}
	for _, c := range all {
		rowsSeen[c.Row] = true
		t.Run(c.Name, func(t *testing.T) {
			found := c.play(t)
			if c.Want == nil {
				require.Empty(t, found, describe(found))
				return
			}
			require.NotEmpty(t, found)
			require.Equal(t, c.Want.Cause, found[0].Cause, describe(found))
			require.Equal(t, c.Want.Resource, found[0].Resource, describe(found))
			require.Equal(t, c.Want.Direction, found[0].Direction)
			if c.Want.Wording != "" {
				require.Equal(t, c.Want.Wording, string(found[0].Wording), describe(found))
			}
			if c.Want.Among != "" {
				require.True(t, slices.ContainsFunc(found[0].Others, func(o alarms.Alternative) bool { return o.Cause == c.Want.Among && o.Probability > 0.01 }), describe(found))
				require.NotEmpty(t, found[0].Deciding)
			}
			if c.Want.Also != "" {
				require.True(t, slices.ContainsFunc(found[1:], func(f alarms.Finding) bool { return f.Cause == c.Want.Also }), describe(found))
			} else {
				require.Len(t, found, 1, describe(found))
			}
		})
	}
	for row := 1; row <= 26; row++ {
		require.True(t, rowsSeen[row], "row %d has no case", row)
	}
}

func (c *byHand) fleet(t testing.TB) *collector.Fleet {
	models, err := model.Builtin()
	require.NoError(t, err)
	l := layout{links: max(c.Links, 2), via: c.Via, cables: 1, indoor: "rack-dual-supply", down: 1310, up: 1310}
	if c.Wavelengths != nil {
		l.down, l.up = c.Wavelengths["down"], c.Wavelengths["up"]
	}
	f := l.fleet(t, models)
	for i, name := range c.Cables {
		f.Links[i].Downlink.Cable, f.Links[i].Uplink.Cable = name, name
	}
	return f
}

// Levels implements alarms.BaselineSource.
func (c *byHand) Levels(unit string) (map[collector.Point]baseline.Level, bool) {
	out := map[collector.Point]baseline.Level{}
	for q, level := range usual {
		for _, port := range []string{"", "a", "b"} {
			level.TempRefC = 25
			if v, ok := c.Baseline[unit+"/"+string(q)]; ok {
				level.Value = v
			}
			if info, _ := q.Info(); info.Compared {
				out[collector.Point{Quantity: q, Port: port}] = level
			}
		}
	}
	return out, true
}

// share returns how much of a change has come after n of the polls.
func (c *byHand) share(n, of int) float64 {
	switch c.Course {
	case "ramp":
		return float64(n) / float64(of)
	case "comes":
		if n < of && n/3%2 == 1 {
			return 0
		}
	case "daily":
		return math.Cos(2 * math.Pi * float64(n) / 24)
	}
	return 1
}

func (c *byHand) play(t testing.TB) []alarms.Finding {
	fleet := c.fleet(t)
	every, polls := time.Minute, 24
	if c.Course == "daily" {
		every, polls = time.Hour, 96
	} else if c.Course == "ramp" {
		every, polls = 24*time.Hour, 100
	}
	begin := time.Date(2026, 6, 1, 0, 0, 0, 0, time.UTC)
	engine := alarms.NewEngine(alarms.EngineConfig{
		List: alarms.NewList(alarms.ListConfig{}), Baselines: c, Diagnose: diagnosis.Diagnose,
		Works: func(string, time.Time) []alarms.Work { return c.works(begin) },
	})
	engine.SetFleet(fleet)
	for n := -5; n <= polls; n++ {
		at := begin.Add(time.Duration(n) * every)
		for _, u := range fleet.Units {
			engine.Observe(c.poll(u, at, n, polls))
		}
		if n == -5 || n > polls-3 {
			engine.Evaluate(at)
		}
	}
	return engine.Findings("s")
}

func (c *byHand) works(begin time.Time) []alarms.Work {
	w := alarms.Work{ID: "visit", Begin: begin.Add(-time.Hour), End: begin.Add(time.Minute), Resources: c.Work}
	if c.Exchanged != "" {
		w.Resources, w.Exchanged = append(w.Resources, "unit/"+c.Exchanged), []string{c.Exchanged}
	}
	for unit, d := range c.Meter {
		w.Meter = append(w.Meter, alarms.MeterReading{Unit: unit, DBm: -3 + d, ExpectedDBm: -3})
	}
	return []alarms.Work{w}
}

func (c *byHand) poll(u collector.Unit, at time.Time, n, of int) collector.Poll {
	p := collector.Poll{Unit: u.ID, Started: at}
	if n >= 0 && slices.Contains(c.Silent, u.ID) {
		p.Err = collector.ErrNoAnswer
		return p
	}
	for _, pt := range u.Equipment.Points {
		name := u.ID + "/" + pt.String()
		r := collector.Reading{Unit: u.ID, Point: pt, Taken: at, Value: c.value(u.ID, pt, n, of)}
		if slices.Contains(c.Missing, name) || n >= 0 && slices.Contains(c.Mute, u.ID) {
			r.Quality = collector.Unavailable
		}
		if since, ok := c.Restarted[u.ID]; ok && n > of-3 && pt.Quantity == collector.Uptime {
			r.Value = time.Duration(since).Seconds()
			p.Restarted = n == of-2
		}
		p.Readings = append(p.Readings, r)
	}
	return p
}

// value returns what a point reads.
func (c *byHand) value(unit string, pt collector.Point, n, of int) float64 {
	name := unit + "/" + pt.String()
	v := usual[pt.Quantity].Value
	if b, ok := c.Baseline[name]; ok {
		v = b
	}
	if n < 0 {
		return v
	}
	if x, ok := c.Set[name]; ok {
		return x
	}
	if state, ok := c.Say[name]; ok {
		s, known := pt.Quantity.StateValue(state)
		if !known {
			panic("unknown state " + state)
		}
		return s
	}
	if pt.Quantity == collector.OpticalReceivePower && slices.Contains(c.Dark, unit) {
		return -40
	}
	if pt.Quantity == collector.OpticalReceiveState && slices.Contains(c.Dark, unit) {
		return 1
	}
	for key, d := range c.Move {
		if strings.TrimSuffix(key, "/") == name {
			v += d * c.share(n, of)
		}
	}
	// up and down by turns: moves are those of normal noise
	return v + 0.954/2*c.Unsteady[name]*float64(1-n%2*2)
}
