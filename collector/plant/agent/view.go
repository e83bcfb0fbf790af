package agent

import (
	"slices"

	"go.uber.org/zap"

	"lightwell/collector/model"
	"lightwell/collector/plant"
)

var (
	sysUpTime = []uint32{1, 3, 6, 1, 2, 1, 1, 3, 0}
	// timeTicks are the names whose unsigned values are TimeTicks: sysUpTime
	// (RFC 3418) and entPhySensorValueTimeStamp (RFC 3433).
	timeTicks = [][]uint32{sysUpTime, {1, 3, 6, 1, 2, 1, 99, 1, 1, 1, 6}}
)

// A view is what one unit shows at one moment. Names are decoded only when
// they differ from those of the moment before.
type view struct {
	entries []entry
	names   []string
	objects []plant.Object
}

type entry struct {
	ids   []uint32
	name  []byte // ids in BER
	at    int    // place in objects
	ticks bool
}

func (v *view) set(objects []plant.Object, log *zap.Logger) {
	v.objects = objects
	if slices.EqualFunc(v.names, objects, func(name string, o plant.Object) bool { return name == o.OID }) {
		return
	}
	v.names, v.entries = v.names[:0], v.entries[:0]
	for i, o := range objects {
		v.names = append(v.names, o.OID)
		ids, ok := parseOID(o.OID)
		if !ok {
			log.Warn("object with a malformed name is not served", zap.String("object", o.OID))
			continue
		}
		v.entries = append(v.entries, entry{ids, encodeOID(ids), i, isTicks(ids)})
	}
	slices.SortFunc(v.entries, func(a, b entry) int { return slices.Compare(a.ids, b.ids) })
}

func isTicks(ids []uint32) bool {
	return slices.ContainsFunc(timeTicks, func(prefix []uint32) bool {
		return len(ids) >= len(prefix) && slices.Equal(ids[:len(prefix)], prefix)
	})
}

func (v *view) search(ids []uint32) (int, bool) {
	return slices.BinarySearchFunc(v.entries, ids, func(e entry, ids []uint32) int { return slices.Compare(e.ids, ids) })
}

// after returns the first visible entry whose name is beyond ids, or
// len(v.entries).
func (v *view) after(ids []uint32, version int) int {
	i, found := v.search(ids)
	if found {
		i++
	}
	return v.visible(i, version)
}

// visible returns i, or the first entry behind it that has a value to show.
func (v *view) visible(i, version int) int {
	for i < len(v.entries) && !v.shown(i, version) {
		i++
	}
	return i
}

// shown is false for a missing value, and in version 1 for a Counter64
// (RFC 3584 section 4.2.2.1).
func (v *view) shown(i, version int) bool {
	value := &v.objects[v.entries[i].at].Value
	return value.Kind != model.Missing && (version != version1 || wireTag(value) != tagCounter64)
}

// absent is the exception for a name without a value: noSuchInstance when a
// sibling of it exists (RFC 3416 section 4.2.1).
func (v *view) absent(ids []uint32) byte {
	column := ids[:len(ids)-1]
	i, _ := v.search(column)
	for ; i < len(v.entries); i++ {
		if e := v.entries[i].ids; len(e) > len(column) {
			if slices.Equal(e[:len(column)], column) {
				return tagNoInstance
			}
			break
		}
	}
	return tagNoObject
}

// ticks returns a whole number that counts up, of either kind.
func ticks(v *model.Value) (uint64, bool) {
	if v.Kind == model.Integer && v.Int >= 0 {
		return uint64(v.Int), true
	}
	return v.Uint, v.Kind == model.Unsigned
}

// upTime returns sysUpTime.0 in hundredths of a second, and false when the
// unit does not show it.
func (v *view) upTime() (uint64, bool) {
	i, found := v.search(sysUpTime)
	if !found {
		return 0, false
	}
	return ticks(&v.objects[v.entries[i].at].Value)
}
