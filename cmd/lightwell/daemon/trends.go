package daemon

import (
	"context"

	"go.uber.org/zap"

	"lightwell/alarms/trend"
	"lightwell/collector/state"
)

// trends is a trend.Store over the state.
type trends struct{ *keeper }

var _ trend.Store = trends{}

// SaveTrends implements trend.Store.
func (t trends) SaveTrends(_ context.Context, rows []state.TrendRow) error {
	return t.write(func(ctx context.Context) error { return t.store.SaveTrends(ctx, rows) })
}

// Trends implements trend.Store.
func (t trends) Trends(context.Context) ([]state.TrendRow, error) {
	ctx, cancel := context.WithTimeout(context.Background(), readTimeout)
	defer cancel()
	return t.store.Trends(ctx)
}

func (d *Daemon) openTrends() (err error) {
	d.trends, err = trend.New(trend.Config{
		Baselines: d.book, Calendar: d.work(), History: d.past.source(), Store: trends{d.keep}, Log: d.log.Named("trends"),
	})
	return err
}

// closeTrends stores them as of now.
func (d *Daemon) closeTrends() {
	ctx, cancel := context.WithTimeout(d.keep.life, readTimeout)
	defer cancel()
	if err := d.trends.Close(ctx); err != nil {
		d.log.Error("close trends", zap.Error(err))
	}
}

// Trends returns what is known of slow changes, for a program that has months
// of readings at its start.
func (d *Daemon) Trends() *trend.Keeper { return d.trends }
