package trend

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"math"
	"slices"
	"strings"

	"go.uber.org/zap"

	"lightwell/collector"
	"lightwell/collector/state"
)

// A Store keeps rows: one for each unit and one for each group.
type Store interface {
	// SaveTrends stores rows in place of those before, all or none.
	SaveTrends(ctx context.Context, rows []state.TrendRow) error
	// Trends returns all rows.
	Trends(ctx context.Context) ([]state.TrendRow, error)
}

const unitRow = "unit/"

// format is the version of a unit's row: its first byte.
const format = 2

var errForeign = errors.New("state of another format or model")

// isFrozen is the flag of a unit in its row.
const isFrozen = 1

// Flags of a point in a row. The upper four bits are its quantity.
const (
	hasRival = 1 << iota
	byFar
	isDark
	hasOffset

	quantityAt = 4 // bits
)

// state writes what must survive a restart: some 16 bytes for the unit, and
// for each point its series and three to five bytes with its name.
func (u *unit) state() []byte {
	out := append(make([]byte, 0, 32+160*len(u.points)), format)
	out = binary.LittleEndian.AppendUint32(out, crc32.ChecksumIEEE([]byte(u.model)))
	var flags byte
	if u.frozen {
		flags = isFrozen
	}
	out = append(out, flags)
	out = binary.AppendVarint(out, u.seen)
	out = binary.AppendVarint(out, u.accepted)
	for i := range u.points {
		out = u.points[i].append(out, u.kind[u.points[i].pos])
	}
	for i := range u.lasers {
		out = u.lasers[i].append(out, u.kind[u.lasers[i].pos])
	}
	return out
}

// appendName begins a point. Its quantity is a number, the place in storable.
func appendName(out []byte, flags byte, name collector.Point) []byte {
	out = append(out, flags|byte(slices.Index(storable, name.Quantity))<<quantityAt, byte(len(name.Port)))
	return append(out, name.Port...)
}

// storable are the quantities that rows hold, by their number. New ones come
// last.
var storable = []collector.Quantity{collector.OpticalReceivePower, collector.OpticalTransmitPower, collector.LaserBias}

func (p *point) append(out []byte, name collector.Point) []byte {
	var flags byte
	if p.rival != nil {
		flags |= hasRival
	}
	if p.own != p.home {
		flags |= byFar
	}
	if p.dark {
		flags |= isDark
	}
	offset := 0.0
	if p.sends != nil {
		offset = math.Round(max(-300, min(p.sends.offset, 300)) * 100)
	}
	if offset != 0 {
		flags |= hasOffset
	}
	out = appendName(out, flags, name)
	if offset != 0 {
		out = binary.LittleEndian.AppendUint16(out, uint16(int16(offset)))
	}
	out = appendLong(out, p.series.AppendBinary)
	if p.rival != nil {
		out = appendLong(out, p.rival.series.AppendBinary)
	}
	return out
}

// appendLong writes a series with its length before it.
func appendLong(out []byte, write func([]byte) ([]byte, error)) []byte {
	at := len(out)
	out, err := write(append(out, 0))
	if n := len(out) - at - 1; err == nil && n <= math.MaxUint8 {
		out[at] = byte(n)
		return out
	}
	return append(out[:at], 0)
}

// lockedState locks the site; nil: nothing is known of the unit.
func (u *unit) lockedState() []byte {
	u.at.mu.Lock()
	defer u.at.mu.Unlock()
	if u.seen == 0 {
		return nil
	}
	return u.state()
}

// restore reads what state wrote. Points that the unit does not have are
// passed over.
func (u *unit) restore(body []byte) error {
	r := reader{rest: body}
	if r.byte() != format || r.uint32() != crc32.ChecksumIEEE([]byte(u.model)) {
		return errForeign
	}
	u.frozen = r.byte()&isFrozen != 0
	u.seen, u.accepted = r.varint(), r.varint()
	for len(r.rest) > 0 && r.err == nil {
		u.restorePoint(&r)
	}
	return r.err
}

func (u *unit) restorePoint(r *reader) {
	flags := r.byte()
	quantity, port := int(flags>>quantityAt), string(r.bytes(int(r.byte())))
	if r.err != nil || quantity >= len(storable) {
		r.err = errForeign
		return
	}
	if storable[quantity] == collector.LaserBias {
		if body, l := r.long(), u.laserAt(port); l != nil && len(body) > 0 {
			r.err = errors.Join(r.err, l.state.UnmarshalBinary(body))
		}
		return
	}
	offset := 0.0
	if flags&hasOffset != 0 {
		offset = float64(int16(r.uint16())) / 100
	}
	own, other := r.long(), []byte(nil)
	if flags&hasRival != 0 {
		other = r.long()
	}
	if p := u.find(storable[quantity], port); p != nil && len(own) > 0 && r.err == nil {
		r.err = p.restore(flags, offset, own, other)
	}
}

func (p *point) restore(flags byte, offset float64, own, other []byte) error {
	p.dark = flags&isDark != 0
	if p.sends != nil {
		p.sends.offset = offset
	}
	if flags&byFar != 0 && p.far != nil {
		p.own = p.far
	}
	if flags&hasRival == 0 {
		p.rival = nil
	}
	if p.rival != nil && len(other) > 0 {
		if err := p.rival.series.UnmarshalBinary(other); err != nil {
			return err
		}
	}
	return p.series.UnmarshalBinary(own)
}

// reader takes a row apart; after the first fault it gives zeros.
type reader struct {
	rest []byte
	err  error
}

func (r *reader) bytes(n int) []byte {
	if n > len(r.rest) {
		r.err, r.rest = errForeign, nil
	}
	if r.err != nil {
		return nil
	}
	out := r.rest[:n]
	r.rest = r.rest[n:]
	return out
}

func (r *reader) byte() byte {
	if b := r.bytes(1); b != nil {
		return b[0]
	}
	return 0
}

func (r *reader) uint16() uint16 {
	if b := r.bytes(2); b != nil {
		return binary.LittleEndian.Uint16(b)
	}
	return 0
}

// long returns what appendLong wrote.
func (r *reader) long() []byte { return r.bytes(int(r.byte())) }

func (r *reader) uint32() uint32 {
	if b := r.bytes(4); b != nil {
		return binary.LittleEndian.Uint32(b)
	}
	return 0
}

func (r *reader) varint() int64 {
	v, n := binary.Varint(r.rest)
	if n <= 0 {
		r.err, r.rest = errForeign, nil
		return 0
	}
	r.rest = r.rest[n:]
	return v
}

// recall reads the rows of the store.
func (k *Keeper) recall() error {
	if k.cfg.Store == nil {
		return nil
	}
	rows, err := k.cfg.Store.Trends(context.Background())
	if err != nil {
		return fmt.Errorf("read trends: %w", err)
	}
	for _, r := range rows {
		if id, ok := strings.CutPrefix(r.Name, unitRow); ok {
			k.parked[id] = r.Body
		} else if key, ok := strings.CutPrefix(r.Name, groupRow); ok {
			k.groups.parked[key] = r.Body
		}
	}
	return nil
}

// revive gives a unit the state that it had. One whose state does not fit
// begins anew: it is another box, or the state is of another program.
func (k *Keeper) revive(u *unit, body []byte) {
	if err := u.restore(body); err != nil {
		k.cfg.Log.Warn("the trends of a unit begin anew", zap.String("unit", u.id), zap.Error(err))
		u.seen, u.accepted, u.frozen = 0, 0, false
		u.reset()
		return
	}
	u.kept = true
	for i := range u.points {
		u.points[i].show(u)
		k.foresee(u, &u.points[i])
	}
	for i := range u.lasers {
		u.lasers[i].show(&k.cfg.Lasers, u)
	}
}
