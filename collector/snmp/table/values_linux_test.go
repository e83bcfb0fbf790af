package table_test

import (
	"errors"
	"fmt"
	"net/netip"
	"time"

	"lightwell/collector/snmp/ber"
	"lightwell/collector/snmp/engine"
	"lightwell/collector/snmp/get"
)

// A bare unit is one asked through the engine alone: version 2c, values
// decoded, no readings made of them.
type bare struct {
	engine.Question
	of       *bareFleet
	at       int32
	silences uint8
}

type bareFleet struct {
	engine  *engine.Engine
	request *get.Request
	units   []bare
	places  []int
	answers []get.Answer // of the unit answered last
	over    chan int32
	window  int
}

func newBareFleet(n, window, port int) *bareFleet {
	var objects []string
	f := &bareFleet{units: make([]bare, n), over: make(chan int32, n), window: window, answers: make([]get.Answer, 24)}
	for i := range 24 {
		objects = append(objects, fmt.Sprintf("1.3.6.1.4.1.32473.1.1.%d.0", i+1))
		f.places = append(f.places, i)
	}
	var err error
	f.request, err = get.New(objects)
	check(err)
	f.engine, err = engine.New(engine.Config{Timeout: 2 * time.Second, Tries: 2, Window: window, Silent: max(window/8, 1)})
	check(err)
	for i := range f.units {
		a := i + 1<<16
		u := &f.units[i]
		u.of, u.at = f, int32(i)
		u.Question = engine.Question{To: netip.AddrPortFrom(netip.AddrFrom4([4]byte{127, byte(a >> 16), byte(a >> 8), byte(a)}), uint16(port)), Dialect: u, Done: ended}
	}
	return f
}

func ended(q *engine.Question, err error) {
	u := q.Dialect.(*bare)
	if u.silences++; err == nil {
		u.silences = 0
	}
	u.of.over <- u.at
}

// Message of engine.Dialect.
func (u *bare) Message(dst []byte, id int32, _ time.Time) ([]byte, error) {
	at := len(dst)
	dst = append(ber.Open(dst, ber.Sequence), ber.Integer, 1, 1)
	dst = ber.AppendOctets(dst, ber.OctetString, community)
	return ber.Close(u.of.request.Append(dst, id), at), nil
}

// Answer of engine.Dialect.
func (u *bare) Answer(b []byte, id int32, _ time.Time) engine.Verdict {
	m := ber.NewReader(b).Into(ber.Sequence)
	if m.Int32() != 1 || string(m.Element(ber.OctetString)) != community || !u.of.request.Read(m.Rest(), id, u.of.answers, u.of.places) {
		return engine.Aside
	}
	return engine.Taken
}

// Misfit of engine.Dialect.
func (u *bare) Misfit([]byte, int32, time.Time) {}

// Fault of engine.Dialect.
func (u *bare) Fault() error { return errors.New("not as asked") }

// cycle is that of driver. The engine keeps the windows.
func (f *bareFleet) cycle() (answered int, took, last time.Duration) {
	start, next := time.Now(), 0
	for left, under := len(f.units), 0; left > 0; {
		for ; next < len(f.units) && under < f.window; next++ {
			f.units[next].Silent = f.units[next].silences >= 3
			check(f.engine.Ask(&f.units[next].Question))
			under++
		}
		i := <-f.over
		for more := true; more; {
			left, under = left-1, under-1
			if f.units[i].silences == 0 {
				answered++
				last = time.Since(start)
			}
			select {
			case i = <-f.over:
			default:
				more = false
			}
		}
	}
	return answered, time.Since(start), last
}
