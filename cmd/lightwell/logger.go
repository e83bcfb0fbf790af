package main

import (
	"io"
	"time"

	"go.uber.org/zap"
	"go.uber.org/zap/zapcore"
)

// newLogger writes one JSON object a line: RFC 3339 times in UTC, durations
// with their unit, nothing sampled away.
func newLogger(w io.Writer, level string) *zap.Logger {
	cfg := zap.NewProductionEncoderConfig()
	cfg.TimeKey = "time"
	cfg.EncodeTime = func(t time.Time, enc zapcore.PrimitiveArrayEncoder) {
		enc.AppendString(t.UTC().Format("2006-01-02T15:04:05.000Z07:00"))
	}
	cfg.EncodeDuration = zapcore.StringDurationEncoder
	at, err := zapcore.ParseLevel(level)
	if err != nil {
		at = zapcore.InfoLevel // the configuration has been checked
	}
	return zap.New(zapcore.NewCore(zapcore.NewJSONEncoder(cfg), zapcore.Lock(zapcore.AddSync(w)), at))
}
