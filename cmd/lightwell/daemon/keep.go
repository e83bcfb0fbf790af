package daemon

import (
	"context"
	"crypto/rand"
	"strings"
	"time"

	"go.uber.org/zap"

	"lightwell/alarms"
)

// alarmsDocument is the name of the alarm list in the data folder.
const alarmsDocument = "alarms"

// everything passes all alarms, shelved ones too.
var everything = alarms.Filter{Shelving: alarms.ShelvingAny}

// saveDelay gathers the changes of a burst into one write. It is also what a
// kill may lose of the alarm list.
const saveDelay = 500 * time.Millisecond

// saveRetry is how long a failed write waits for the next try.
const saveRetry = 5 * time.Second

// savedList is the alarm list as it is kept.
type savedList struct {
	Alarms []alarms.Alarm `json:"alarms"`
}

// identityDocument holds the name under which this daemon publishes.
const identityDocument = "identity"

// identify reads the daemon's name, or makes one at the first start, so that
// receivers know over restarts who speaks.
func (d *Daemon) identify() error {
	found, err := d.dir.Load(identityDocument, &d.identity)
	if err != nil || found {
		return err
	}
	d.identity = strings.ToLower(rand.Text()[:12])
	return d.dir.Save(identityDocument, d.identity)
}

func (d *Daemon) restore() error {
	var saved savedList
	found, err := d.dir.Load(alarmsDocument, &saved)
	if err != nil || !found {
		return err
	}
	d.list.Restore(saved.Alarms)
	return nil
}

func (d *Daemon) save() error {
	return d.dir.Save(alarmsDocument, savedList{Alarms: d.list.Alarms(everything)})
}

// keep writes the alarm list after each burst of changes until ctx ends. A
// failed write is said once and tried again; polling and alarming go on.
func (d *Daemon) keep(ctx context.Context) error {
	failing := false
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-d.unsaved:
		}
		for wait := saveDelay; ; wait = saveRetry {
			select {
			case <-ctx.Done():
				return nil
			case <-time.After(wait):
			}
			err := d.save()
			if err != nil && !failing {
				d.log.Error("save alarm list; will try again", zap.Error(err))
			}
			if failing = err != nil; !failing {
				break
			}
		}
	}
}
