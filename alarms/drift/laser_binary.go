package drift

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
)

// laserFormat is the version of what AppendBinary writes.
const laserFormat = 1

// ErrLaserState is wrapped by the errors of Laser.UnmarshalBinary.
var ErrLaserState = errors.New("not the state of a laser")

// storedLaser is the layout of a Laser in store, without the readings of the
// hour under way.
type storedLaser struct {
	Format                  uint8
	Phase                   uint8
	At, Quiet, Every        uint32
	Hour                    int32
	Last, Excess            float32
	Hours, Beyond, Learned  uint8
	Taught                  uint16
	Base                    float32
	Bias, Temp              [bins]float32
	Lessons                 [bins]uint8
	Used                    uint32
	Threshold, Char, Power  float32
	Left                    float32
	Began, Judged, Since    int32
	Newest, Level           float32
	Sure, Noise             float32
	Missed                  uint16
	Grade, Up, Down         uint8
	W, T, TT, Y, TY, YY     float64
	Before, Alike, Residual float64
}

// storedSize is how many bytes a Laser takes in store.
var storedSize = binary.Size(storedLaser{})

// AppendBinary appends the state. The hour under way is left out: after a
// restart it begins anew.
func (l *Laser) AppendBinary(b []byte) ([]byte, error) {
	m, a, f := &l.model, &l.ageing, &l.ageing.line
	s := storedLaser{
		Format: laserFormat, Phase: uint8(l.phase), At: l.at, Quiet: l.quiet, Every: l.every, Hour: l.hour, Last: l.last, Excess: l.excess,
		Hours: l.hours, Beyond: l.beyond, Learned: l.learned, Taught: l.taught,
		Base: m.base, Bias: m.bias, Temp: m.temp, Used: m.used, Threshold: m.threshold, Char: m.char, Power: m.power, Left: m.left,
		Began: a.began, Judged: a.judged, Since: a.since, Newest: a.newest, Level: a.level, Sure: a.sure, Noise: a.noise,
		Missed: a.missed, Grade: a.grade, Up: a.up, Down: a.down,
		W: f.w, T: f.t, TT: f.tt, Y: f.y, TY: f.ty, YY: f.yy, Before: f.before, Alike: f.alike, Residual: f.square,
	}
	for i, n := range m.hours {
		s.Lessons[i] = uint8(n) // at most lessonCap
	}
	return binary.Append(b, binary.LittleEndian, s)
}

// UnmarshalBinary takes over a state that AppendBinary wrote. An error wraps
// ErrLaserState and leaves the laser as it was.
func (l *Laser) UnmarshalBinary(data []byte) error {
	var s storedLaser
	if len(data) != storedSize || data[0] != laserFormat {
		return fmt.Errorf("%w: %d bytes", ErrLaserState, len(data))
	}
	if err := binary.Read(bytes.NewReader(data), binary.LittleEndian, &s); err != nil {
		return fmt.Errorf("%w: %w", ErrLaserState, err)
	}
	if err := s.check(); err != nil {
		return err
	}
	*l = Laser{
		phase: LaserPhase(s.Phase), at: s.At, quiet: s.Quiet, every: s.Every, hour: s.Hour, last: s.Last, excess: s.Excess,
		hours: s.Hours, beyond: s.Beyond, learned: s.Learned, taught: s.Taught,
		model: laserModel{base: s.Base, bias: s.Bias, temp: s.Temp, threshold: s.Threshold, char: s.Char, power: s.Power, left: s.Left},
		ageing: ageing{
			began: s.Began, judged: s.Judged, since: s.Since, newest: s.Newest, level: s.Level, sure: s.Sure, noise: s.Noise,
			missed: s.Missed, grade: s.Grade, up: s.Up, down: s.Down,
			line: fading{w: s.W, t: s.T, tt: s.TT, y: s.Y, ty: s.TY, yy: s.YY, before: s.Before, alike: s.Alike, square: s.Residual},
		},
	}
	if s.Used != 0 {
		l.model.use(s.Used)
	}
	for i, n := range s.Lessons {
		l.model.hours[i] = min(uint16(n), lessonCap)
	}
	return nil
}

// check refuses what no laser can be: numbers that are none would stay for
// ever.
func (s *storedLaser) check() error {
	numbers := []float64{
		float64(s.Last), float64(s.Excess), float64(s.Base), float64(s.Threshold), float64(s.Char), float64(s.Power), float64(s.Left),
		float64(s.Newest), float64(s.Level), float64(s.Sure), float64(s.Noise), s.W, s.T, s.TT, s.Y, s.TY, s.YY, s.Before, s.Alike, s.Residual,
	}
	for i := range bins {
		numbers = append(numbers, float64(s.Bias[i]), float64(s.Temp[i]))
	}
	for _, v := range numbers {
		if math.IsNaN(v) || math.Abs(v) > 1e12 {
			return fmt.Errorf("%w: a number is %v", ErrLaserState, v)
		}
	}
	known := s.Phase == uint8(LaserKnown)
	switch {
	case s.Phase > uint8(LaserKnown), s.Grade > 3, s.Used>>bins != 0, known && (s.Used == 0 || s.Char < 1 || s.Sure < 0 || s.Noise <= 0), s.Phase > 0 && s.Last <= 0:
		return fmt.Errorf("%w: phase %d, grade %d", ErrLaserState, s.Phase, s.Grade)
	}
	return nil
}
