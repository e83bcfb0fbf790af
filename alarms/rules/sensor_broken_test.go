package rules_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/alarms/rules"
	"lightwell/collector"
)

func TestSensors(t *testing.T) {
	const sensor = "unit/room-1/laser_bias"
	for q, want := range map[collector.Quality]string{
		collector.Good: "clear", collector.Unavailable: "unknown", collector.Broken: "warning", collector.OutOfRange: "warning",
	} {
		t.Run(q.String(), func(t *testing.T) {
			s := pairs(t, 1)
			s.quality("room-1", "laser_bias", q)
			s.expect(want, rules.SensorBroken, sensor)
			if want == "warning" {
				require.Equal(t, q == collector.Broken, s.active(rules.SensorBroken, sensor).Direct, "a value that cannot be true may be a garbled reply")
				require.Equal(t, []string{"sensor-broken " + sensor}, s.standing())
			}
		})
	}
	s := pairs(t, 1)
	s.quality("room-1", "laser_bias", collector.Broken)
	s.fail(collector.ErrNoAnswer, "room-1")
	s.unknown(rules.SensorBroken, sensor)
}
