package daemon

import (
	"context"
	"errors"
	"path/filepath"

	"go.uber.org/zap"
	"golang.org/x/sync/errgroup"

	"lightwell/cmd/lightwell/config"
	"lightwell/collector"
	"lightwell/collector/history"
	"lightwell/collector/history/remote"
)

// Folders within the data folder.
const (
	historyFolder = "history"
	queueFolder   = "remote-write"
)

// past is where readings go: a history of our own, and other databases.
type past struct {
	store   *history.Store // nil: not kept here
	senders []*remote.Sender
	reader  *remote.Reader // nil: the store answers
}

func (d *Daemon) openHistory() (err error) {
	d.past, err = openPast(d.opts.Config.Data, d.opts.Config.History, d.log.Named("history"))
	return err
}

// HistoryStats tells how the history fares; local is nil when none is kept
// here.
func (d *Daemon) HistoryStats() (local *history.Stats, sent []remote.Stats) { return d.past.Stats() }

// History returns the history that is kept here, for a program that has
// readings of the time before; nil: none is.
func (d *Daemon) History() *history.Store { return d.past.store }

func openPast(data string, cfg config.History, log *zap.Logger) (p *past, err error) {
	p = &past{}
	opened := p
	defer func() {
		if err != nil {
			opened.close(log)
		}
	}()
	if !cfg.Off {
		local := cfg.Local
		local.Folder = filepath.Join(data, historyFolder)
		if p.store, err = history.Open(local, log); err != nil {
			return nil, err
		}
	}
	for _, e := range cfg.Send {
		s, err := remote.New(remote.Default(e, filepath.Join(data, queueFolder)), log.Named("remote"))
		if err != nil {
			return nil, err
		}
		p.senders = append(p.senders, s)
	}
	if cfg.Read != nil {
		p.reader, err = remote.NewReader(*cfg.Read)
	}
	return p, err
}

// append hands a poll on. It never waits.
func (p *past) append(poll collector.Poll) {
	if p.store != nil {
		p.store.Append(poll)
	}
	for _, s := range p.senders {
		s.Append(poll)
	}
}

// run runs all until ctx ends.
func (p *past) run(ctx context.Context) error {
	group, ctx := errgroup.WithContext(ctx)
	if p.store != nil {
		group.Go(func() error { return p.store.Run(ctx) })
	}
	for _, s := range p.senders {
		group.Go(func() error { return s.Run(ctx) })
	}
	<-ctx.Done()
	return group.Wait()
}

// source answers questions about the past; nil: nothing does.
func (p *past) source() history.Source {
	switch {
	case p.reader != nil:
		return p.reader
	case p.store != nil:
		return p.store
	}
	return nil
}

// snapshot copies the history; nil when none is kept here.
func (p *past) snapshot() func(ctx context.Context, folder string) error {
	if p.store == nil {
		return nil
	}
	return p.store.Snapshot
}

// Stats implements metrics.History.
func (p *past) Stats() (local *history.Stats, sent []remote.Stats) {
	if p.store != nil {
		s := p.store.Stats()
		local = &s
	}
	for _, s := range p.senders {
		sent = append(sent, s.Stats())
	}
	return local, sent
}

// close closes all, once; a nil past is closed.
func (p *past) close(log *zap.Logger) {
	if p == nil {
		return
	}
	var errs []error
	if p.store != nil {
		errs = append(errs, p.store.Close())
	}
	for _, s := range p.senders {
		errs = append(errs, s.Close())
	}
	if p.reader != nil {
		p.reader.Close()
	}
	*p = past{}
	if err := errors.Join(errs...); err != nil {
		log.Error("close history", zap.Error(err))
	}
}
