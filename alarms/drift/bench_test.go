package drift

import (
	"runtime"
	"testing"
	"unsafe"
)

// BenchmarkMinute gives one reading to each of 2.4 million points, a minute
// after the last, and tells what a reading and a point cost.
func BenchmarkMinute(b *testing.B) {
	const points = 2_400_000
	var before, after runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	all := make([]Series, points)
	runtime.ReadMemStats(&after)
	c := Default()
	at := int64(1_700_000_000)
	b.ReportAllocs()
	for b.Loop() {
		at += 60
		wobble := float64(at/60%7) / 100
		for i := range all {
			all[i].Observe(&c, at, -5+wobble, 20+wobble)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/points, "ns/reading")
	b.ReportMetric(float64(unsafe.Sizeof(all[0])), "B/point")
	b.ReportMetric(SeriesSize, "durable-B/point")
	b.ReportMetric(float64(after.HeapAlloc-before.HeapAlloc)/1e6, "MB")
	runtime.KeepAlive(all)
}

// BenchmarkDay is a whole day of one point at one-minute polls: 1,440 readings,
// 24 hours and the day.
func BenchmarkDay(b *testing.B) {
	c := Default()
	var s Series
	at := int64(1_700_000_000)
	b.ReportAllocs()
	for b.Loop() {
		for range 1440 {
			at += 60
			wobble := float64(at/60%7) / 100
			s.Observe(&c, at, -5+wobble, 20+wobble)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/1440, "ns/reading")
}

func BenchmarkAppendBinary(b *testing.B) {
	var s Series
	buf := make([]byte, 0, SeriesSize)
	b.ReportAllocs()
	for b.Loop() {
		buf, _ = s.AppendBinary(buf[:0])
	}
}

// BenchmarkPredict forecasts from a year of days.
func BenchmarkPredict(b *testing.B) {
	days := make([]Day, 365)
	for i := range days {
		days[i] = Day{int32(i), float32(max(0, i-100)) * 0.004}
	}
	q := DefaultQuantiles()
	b.ReportAllocs()
	for b.Loop() {
		Predict(days, 3, q)
	}
}
