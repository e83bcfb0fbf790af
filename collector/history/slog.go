package history

import (
	"context"
	"log/slog"

	"go.uber.org/zap"
	"go.uber.org/zap/zapcore"
)

// slogTo lets the database log into ours. What it tells as information about
// its blocks is for us a detail.
func slogTo(log *zap.Logger) *slog.Logger { return slog.New(&zapHandler{log}) }

// headFirst is what the database warns of when it writes new blocks before it
// joins old ones: its usual way after many hours came at once.
const headFirst = "aborting block compactions to persist the head block"

type zapHandler struct{ log *zap.Logger }

func zapLevel(l slog.Level) zapcore.Level {
	switch {
	case l >= slog.LevelError:
		return zapcore.ErrorLevel
	case l >= slog.LevelWarn:
		return zapcore.WarnLevel
	}
	return zapcore.DebugLevel
}

// Enabled implements slog.Handler.
func (h *zapHandler) Enabled(_ context.Context, l slog.Level) bool {
	return h.log.Core().Enabled(zapLevel(l))
}

// Handle implements slog.Handler.
func (h *zapHandler) Handle(_ context.Context, r slog.Record) error {
	fields := make([]zap.Field, 0, r.NumAttrs())
	r.Attrs(func(a slog.Attr) bool {
		fields = append(fields, field(a))
		return true
	})
	level := zapLevel(r.Level)
	if r.Message == headFirst {
		level = zapcore.DebugLevel
	}
	h.log.Log(level, r.Message, fields...)
	return nil
}

// WithAttrs implements slog.Handler.
func (h *zapHandler) WithAttrs(attrs []slog.Attr) slog.Handler {
	fields := make([]zap.Field, len(attrs))
	for i, a := range attrs {
		fields[i] = field(a)
	}
	return &zapHandler{h.log.With(fields...)}
}

// WithGroup implements slog.Handler.
func (h *zapHandler) WithGroup(name string) slog.Handler { return &zapHandler{h.log.Named(name)} }

func field(a slog.Attr) zap.Field { return zap.Any(a.Key, a.Value.Any()) }
